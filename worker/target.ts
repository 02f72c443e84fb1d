/** The target's folders: made only below a delivery that stands, asked when something failed, swept of our own leftovers. */
import { readdir, rm, stat } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { FindingError } from '../findings/finding.ts';
import { linkAt, linkFinding } from '../ledger/delivery-links.ts';
import { STAGING_PREFIX } from '../ledger/layout.ts';
import { newToken, ownerOfStaged, ownerState } from '../ledger/owner.ts';
import { type TargetTrouble, targetTroubleOf, tryWriting } from '../ledger/target-health.ts';
import { makeFolders } from '../files/folders.ts';
import type { TargetState } from './classify.ts';

/** ENOENT when the roll's delivery is not there: making it again would write below a mount point whose volume is gone. */
export async function makeFolder(deliveryFolder: string, folder: string): Promise<void> {
  // The coordinator writes the roll's verdict there before it queues a job. The delivery alone is no witness: it may be the mount point.
  await stat(deliveryFolder);
  await makeFolders(folder);
  // Looked at after it stands: whoever puts a link there must not have the work done somewhere else.
  for (let place = folder; place !== deliveryFolder && place !== dirname(place); place = dirname(place)) {
    const target = await linkAt(place);
    if (target !== null) throw new FindingError([linkFinding(target, place)]);
  }
}

/**
 * null: an error that says nothing about the target. Sources and the system's own folder for temporary files fail with the
 * same codes: where the error names a path, it must lie in the delivery; where it names none (a write or sync of an open
 * file, which only the target has here), it must be about room or rights.
 */
export function targetStateOf(error: unknown, delivery: string): TargetTrouble | null {
  const path =
    typeof error === 'object' && error !== null && 'path' in error ? String(error.path) : undefined;
  if (path !== undefined && path !== delivery && !path.startsWith(`${delivery}/`)) return null;
  const failure = targetTroubleOf(error);
  return failure === 'gone' && path === undefined ? null : failure;
}

/** <delivery> of a <delivery>/<day>/<roll>. */
export function deliveryOf(deliveryFolder: string): string {
  return dirname(dirname(deliveryFolder));
}

const TRIAL_BYTES = 256 * 1024;

/** Tries to write and to keep a little file there: what a volume says of itself is no proof. */
export async function askTarget(folder: string): Promise<TargetState> {
  const path = join(folder, `${STAGING_PREFIX}${newToken()}.trial`);
  try {
    await tryWriting(path, TRIAL_BYTES);
    return 'good';
  } catch (error) {
    const state = targetStateOf(error, folder);
    if (state === null) throw error;
    return state;
  }
}

/** Names of staging files and folders whose process is gone from this machine for certain. Those of others are the run's to judge (coordinator/night/sweeping.ts). */
export async function leftovers(folder: string): Promise<string[]> {
  return (await readdir(folder)).filter((name) => {
    const owner = ownerOfStaged(name);
    return owner !== null && ownerState(owner) === 'gone';
  });
}

/** Takes them away, but for those that `kept` names; it is asked only where something lies. Of a link only the link goes. */
export async function sweepStaging(
  folder: string,
  kept: () => Promise<ReadonlySet<string>> = async () => new Set(),
): Promise<void> {
  const names = await leftovers(folder);
  const keep = names.length === 0 ? new Set<string>() : await kept();
  for (const name of names)
    if (!keep.has(name)) await rm(join(folder, name), { recursive: true, force: true });
}
