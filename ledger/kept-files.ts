/** Files of transforms and looks that lie beside the reports because a deliverable was made with them, or because its ACES Metadata File names them. */
import { extname } from 'node:path';
import type { InputTransform } from '../media/colour/input.ts';
import type { WayLook } from '../media/colour/way.ts';
import type { AnyOutcome } from '../profiles/outcome/any.ts';
import { filesOfLooks } from '../profiles/master/amf-looks.ts';
import type { StillsOutcome } from '../profiles/stills/schema.ts';
import type { Shown } from '../profiles/shown/schema.ts';
import { layout, placeBelow } from './layout.ts';
import { digestOfPlain } from './sidecars.ts';
import { transformPath } from './transform.ts';

const shownOf = (outcome: AnyOutcome): Shown | null => (outcome.kind === 'movie' ? outcome.shown : null);

/** Of a master, or of pictures that go a colour way; null: code values are taken as they are. */
export function inputOf(outcome: AnyOutcome): InputTransform | null {
  const shown = shownOf(outcome);
  if (shown?.from === 'recorded') return shown.input;
  const linearisation = outcome.linearisation ?? shown?.linearisation;
  return linearisation?.kind === 'coded' ? linearisation.input : null;
}

/** Of a colour way; null: its frames are raw. */
export function inputOfShown(shown: Shown): InputTransform | null {
  if (shown.from === 'recorded') return shown.input;
  return shown.linearisation.kind === 'coded' ? shown.linearisation.input : null;
}

/** What a clip's stills were made with, SHA-256 by path below <delivery>/<day>/<roll>. */
export function keptFilesOfStills({ shown }: Pick<StillsOutcome, 'shown'>): Map<string, string> {
  const files = new Map<string, string>();
  if (shown === null) return files;
  const input = inputOfShown(shown);
  const path = transformPath(input);
  if (path !== null && input !== null && 'file' in input) files.set(path, input.sha256);
  const { look } = shown.way;
  if (look === null) return files;
  files.set(layout.transform(look.sha256, extname(look.file).toLowerCase()), look.sha256);
  return files.set(layout.transform(look.aces, '.clf'), look.aces);
}

/** By which its pictures go, or which its ACES Metadata File names. */
function looksOf(outcome: AnyOutcome): WayLook[] {
  const { amf } = outcome;
  return [
    shownOf(outcome)?.way.look ?? null,
    ...(amf?.looks ?? []).map((look) => (look.what === 'look' ? look.look : null)),
    amf?.output?.look ?? null,
  ].flatMap((look) => look ?? []);
}

/** SHA-256 by path below <delivery>/<day>/<roll>. */
export function keptFilesOf(outcome: AnyOutcome): Map<string, string> {
  const files = new Map<string, string>();
  const input = inputOf(outcome);
  const path = transformPath(input);
  if (path !== null && input !== null && 'file' in input) files.set(path, input.sha256);
  if (outcome.amf !== null)
    for (const sha256 of filesOfLooks(outcome.amf).keys())
      files.set(layout.transform(sha256, '.clf'), sha256);
  for (const { file, sha256, aces } of looksOf(outcome)) {
    files.set(layout.transform(sha256, extname(file).toLowerCase()), sha256);
    files.set(layout.transform(aces, '.clf'), aces);
  }
  return files;
}

/** Whether each of them lies there with its digest. */
export async function hasKeptFiles(outcome: AnyOutcome, rollFolder: string): Promise<boolean> {
  for (const [path, sha256] of keptFilesOf(outcome)) {
    const place = placeBelow(rollFolder, path);
    if (place === null || (await digestOfPlain(place))?.sha256 !== sha256) return false;
  }
  return true;
}
