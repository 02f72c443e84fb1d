/** The target's folders: made only below a delivery that stands, asked when something failed, swept of our own leftovers. */
import { readdir, rm, stat } from 'node:fs/promises';
import { hostname } from 'node:os';
import { dirname, join } from 'node:path';
import { randomBytes } from 'node:crypto';
import { codeOf } from '../files/error-code.ts';
import { STAGING_PREFIX } from '../ledger/layout.ts';
import { type TargetTrouble, targetTroubleOf, tryWriting } from '../ledger/target-health.ts';
import { makeFolders } from '../files/folders.ts';
import type { TargetState } from './classify.ts';

/** ENOENT when the roll's delivery is not there: making it again would write below a mount point whose volume is gone. */
export async function makeFolder(deliveryFolder: string, folder: string): Promise<void> {
  // The coordinator writes the roll's verdict there before it queues a job. The delivery alone is no witness: it may be the mount point.
  await stat(deliveryFolder);
  await makeFolders(folder);
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

const host =
  hostname()
    .replace(/[^A-Za-z0-9]/g, '')
    .slice(0, 24) || 'host';

/** Of one attempt and one file; names the process, so that a leftover can be told from work that goes on. */
export function newToken(): string {
  return `${host}-${process.pid}-${randomBytes(6).toString('hex')}`;
}

function runs(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return codeOf(error) === 'EPERM';
  }
}

const ours = new RegExp(`^${STAGING_PREFIX.replaceAll('.', '\\.')}${host}-(\\d+)-[0-9a-f]{12}(?:\\.|$)`);

/** Names of staging files and folders of processes of this machine that are gone. Those of other machines are not ours to judge. */
export async function leftovers(folder: string): Promise<string[]> {
  return (await readdir(folder)).filter((name) => {
    const pid = ours.exec(name)?.[1];
    return pid !== undefined && !runs(Number(pid));
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
