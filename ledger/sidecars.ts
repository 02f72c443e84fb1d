/** The files beside a movie that belong to it (docs/amf.md): which there must be, and what has their names. */
import { lstat } from 'node:fs/promises';
import { type FileDigest, digestOfFile } from '../files/digest.ts';
import { codeOf } from '../files/error-code.ts';
import { fsPath } from '../files/names.ts';
import { sidecarNames } from '../profiles/master/amf.ts';
import { isMovieMaster } from '../profiles/master/with-amf.ts';
import { layout, placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';

/** Below the folder of the roll, by what was decided; none where nothing belongs beside it. */
export function sidecarPaths({ outcome, profile }: Pick<DeliverableReport, 'outcome' | 'profile'>): string[] {
  return isMovieMaster(outcome) ? sidecarNames(outcome.amf).map((name) => `${profile}/${name}`) : [];
}

/** SHA-256 of what has the names that the report has, in its order; null: no plain file that can be read. */
export async function sidecarDigests(
  { sidecars = [] }: Pick<DeliverableReport, 'sidecars'>,
  rollFolder: string,
): Promise<(string | null)[]> {
  const digests: (string | null)[] = [];
  for (const { path } of sidecars) {
    const place = placeBelow(rollFolder, path);
    digests.push(place === null ? null : ((await digestOfPlain(place))?.sha256 ?? null));
  }
  return digests;
}

/** null: no plain file that can be read. */
export async function digestOfPlain(path: string): Promise<FileDigest | null> {
  try {
    return (await lstat(fsPath(path))).isFile() ? await digestOfFile(path) : null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** Staging names that a report waits for: they are published, not swept. */
export function awaitedNames({
  state,
  staged,
  sidecars = [],
}: Pick<DeliverableReport, 'state' | 'staged' | 'sidecars'>): string[] {
  return state !== 'publishing' || staged === undefined
    ? []
    : [staged, ...sidecars.map(({ path }) => layout.stagedBeside(staged, path))];
}
