/** The files that belong beside a movie, from their staging names to their final ones. */
import { basename, dirname, join } from 'node:path';
import { takeAfterFolder } from '../files/belonging.ts';
import { digestOfFile } from '../files/digest.ts';
import type { StagedFile } from '../files/publish-together.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { digestOfPlain } from '../ledger/sidecars.ts';
import { sidecarNames, unwantedSidecars } from '../profiles/master/amf.ts';
import { isMovieMaster } from '../profiles/master/with-amf.ts';
import type { Deliverable } from './context.ts';

const namesOf = ({ outcome }: Deliverable): string[] =>
  isMovieMaster(outcome) ? sidecarNames(outcome.amf) : [];

/** Absolute, of every file that belongs beside it; none of what is no such movie. */
export const stagedSidecars = (deliverable: Deliverable, staged: string): string[] =>
  namesOf(deliverable).map((name) => layout.stagedBeside(staged, name));

/** As they lie there now, in the order in which they get their names. Throws what node:fs throws. */
export async function besideOf(job: Job, deliverable: Deliverable, staged: string): Promise<StagedFile[]> {
  const { profile } = deliverable;
  const files: StagedFile[] = [];
  for (const name of namesOf(deliverable)) {
    const place = layout.stagedBeside(staged, name);
    const final = layout.deliverable(job.deliveryFolder, profile.name, name);
    await takeAfterFolder(place);
    files.push({ staged: place, final, checked: await digestOfFile(place) });
  }
  return files;
}

/** Final names that this decision gives to nothing, and an older one may have. */
export function obsoleteBeside(job: Job, { profile, outcome }: Deliverable): string[] {
  return isMovieMaster(outcome)
    ? unwantedSidecars(outcome.amf).map((name) => layout.deliverable(job.deliveryFolder, profile.name, name))
    : [];
}

/** What is there of the files beside a staged movie, by what its report says of them; null: one of them is nowhere. */
export async function foundBeside(
  staged: string,
  sidecars: readonly { readonly path: string; readonly sha256: string }[],
): Promise<StagedFile[] | null> {
  const files: StagedFile[] = [];
  for (const { path, sha256 } of sidecars) {
    const final = join(dirname(staged), basename(path));
    const place = await firstWith(sha256, [layout.stagedBeside(staged, path), final]);
    if (place === null) return null;
    files.push({ ...place, final });
  }
  return files;
}

async function firstWith(
  sha256: string,
  places: readonly string[],
): Promise<Pick<StagedFile, 'staged' | 'checked'> | null> {
  for (const staged of places) {
    const checked = await digestOfPlain(staged);
    if (checked?.sha256 === sha256) return { staged, checked };
  }
  return null;
}
