/**
 * One run per work folder. The lock is a file that appears whole under its name (written apart, then linked: link(2)
 * refuses an existing name, also over NFS) and says who holds it; the lock of a process that is gone is taken over.
 */
import { randomUUID } from 'node:crypto';
import { link, mkdir, open, readFile, rename, rm } from 'node:fs/promises';
import { hostname } from 'node:os';
import { join } from 'node:path';
import { z } from 'zod';
import { FindingError, finding } from '../../findings/finding.ts';
import { processIdentity } from './process-identity.ts';

const lockSchema = z.looseObject({
  version: z.literal(1),
  host: z.string(),
  pid: z.int().positive(),
  /** See processIdentity: a number that was given to another process since is recognised. */
  process: z.string(),
  /** ISO 8601 UTC, for people. */
  since: z.string(),
  token: z.string(),
});
export type LockHolder = z.infer<typeof lockSchema>;

export interface WorkLock {
  readonly file: string;
  release(): Promise<void>;
}

const LOCK_NAME = 'lock.json';

/** `unreadable`: a torn or foreign file under the lock's name. */
export async function readLock(workFolder: string): Promise<{ holder: LockHolder | null; state: 'absent' | 'held' | 'stale' | 'unreadable' }> {
  let text: string;
  try {
    text = await readFile(join(workFolder, LOCK_NAME), 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return { holder: null, state: 'absent' };
    throw error;
  }
  const holder = parseLock(text);
  if (holder === null) return { holder: null, state: 'unreadable' };
  // Nobody can look at the processes of another machine: its lock counts as held.
  const held = holder.host !== hostname() || processIdentity(holder.pid) === holder.process;
  return { holder, state: held ? 'held' : 'stale' };
}

function parseLock(text: string): LockHolder | null {
  try {
    const parsed = lockSchema.safeParse(JSON.parse(text));
    return parsed.success ? parsed.data : null;
  } catch {
    // Not JSON: not a lock of ours.
    return null;
  }
}

/** Throws FindingError (exit 2) that names the process when another run holds the folder. */
export async function acquireLock(workFolder: string): Promise<WorkLock> {
  await mkdir(workFolder, { recursive: true, mode: 0o700 });
  const file = join(workFolder, LOCK_NAME);
  const mine: LockHolder = { version: 1, host: hostname(), pid: process.pid, process: processIdentity(process.pid) ?? 'unknown', since: new Date().toISOString(), token: randomUUID() };
  const part = join(workFolder, `.lock-${mine.token}`);
  const handle = await open(part, 'wx', 0o600);
  try {
    await handle.writeFile(`${JSON.stringify(mine)}\n`);
    await handle.sync();
  } finally {
    await handle.close();
  }
  try {
    // Every round ends with the lock, with a refusal, or because somebody else moved: a handful is plenty.
    for (let round = 0; round < 10; round += 1) {
      if (await linked(part, file)) return { file, release: () => release(file, mine.token) };
      const { holder, state } = await readLock(workFolder);
      if (state === 'held' && holder !== null) throw inUse(workFolder, holder);
      if (state !== 'absent') await takeAway(workFolder, file, holder?.token ?? null);
    }
    throw new FindingError([finding('work-folder-in-use', 'the lock changes hands all the time', 'a work folder of this run alone', { file: workFolder })], 2);
  } finally {
    await rm(part, { force: true });
  }
}

function inUse(workFolder: string, holder: LockHolder): FindingError {
  const where = holder.host === hostname() ? '' : ` on ${holder.host} (if that machine is gone for good, delete ${join(workFolder, LOCK_NAME)})`;
  return new FindingError([finding('work-folder-in-use', `process ${holder.pid}${where}, since ${holder.since}`, 'no other run', { file: workFolder })], 2);
}

async function linked(part: string, file: string): Promise<boolean> {
  try {
    await link(part, file);
    return true;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') return false;
    throw error;
  }
}

/** Takes a dead holder's lock away. Should somebody have put a living one there meanwhile, that one is put back. */
async function takeAway(workFolder: string, file: string, deadToken: string | null): Promise<void> {
  const aside = join(workFolder, `.lock-dead-${randomUUID()}`);
  try {
    await rename(file, aside);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return;
    throw error;
  }
  const taken = parseLock(await readFile(aside, 'utf8'));
  if (taken !== null && taken.token !== deadToken) await linked(aside, file);
  await rm(aside, { force: true });
}

async function release(file: string, token: string): Promise<void> {
  try {
    if (parseLock(await readFile(file, 'utf8'))?.token === token) await rm(file, { force: true });
  } catch (error) {
    // The work folder may have been deleted under us: then nothing is locked any more.
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
  }
}
