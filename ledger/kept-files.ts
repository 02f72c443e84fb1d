/** Files of transforms and looks that lie beside the reports because a deliverable was made with them, or because its ACES Metadata File names them. */
import { extname } from 'node:path';
import type { AmfOutcome } from '../profiles/master/amf.ts';
import { filesOfLooks } from '../profiles/master/amf-looks.ts';
import type { Linearisation } from '../profiles/master/linearisation.ts';
import { layout, placeBelow } from './layout.ts';
import { digestOfPlain } from './sidecars.ts';
import { transformPath } from './transform.ts';

interface MadeByFiles {
  readonly linearisation?: Linearisation | undefined;
  readonly amf?: AmfOutcome | undefined;
}

/** SHA-256 by path below <delivery>/<day>/<roll>. */
export function keptFilesOf({ linearisation, amf }: MadeByFiles): Map<string, string> {
  const files = new Map<string, string>();
  const input = linearisation?.kind === 'coded' ? linearisation.input : null;
  const path = transformPath(input);
  if (path !== null && input !== null && 'file' in input) files.set(path, input.sha256);
  if (amf === undefined) return files;
  for (const sha256 of filesOfLooks(amf).keys()) files.set(layout.transform(sha256, '.clf'), sha256);
  const looks = [
    ...(amf.looks ?? []).flatMap((look) => (look.what === 'look' ? [look.look] : [])),
    ...(amf.output?.look === undefined ? [] : [amf.output.look]),
  ];
  for (const { file, sha256 } of looks)
    files.set(layout.transform(sha256, extname(file).toLowerCase()), sha256);
  return files;
}

/** Whether each of them lies there with its digest. */
export async function hasKeptFiles(made: MadeByFiles, rollFolder: string): Promise<boolean> {
  for (const [path, sha256] of keptFilesOf(made)) {
    const place = placeBelow(rollFolder, path);
    if (place === null || (await digestOfPlain(place))?.sha256 !== sha256) return false;
  }
  return true;
}
