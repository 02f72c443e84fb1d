/**
 * One run per work folder. A lock is a file that appears whole under its name (written apart, then linked: link(2)
 * refuses an existing name, also over NFS) and says who holds it.
 *
 * Names are numbered. A dead holder's lock is not taken away to make room, since between looking and taking away it may
 * have become a living one: another number is linked beside it. Everybody links first and looks at all others after, so of
 * two at least one sees the other and steps back. Only who holds the lock removes the locks of the dead.
 */
import { randomUUID } from 'node:crypto';
import { link, mkdir, open, readdir, readFile, rm } from 'node:fs/promises';
import { hostname } from 'node:os';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import { z } from 'zod';
import { FindingError, finding } from '../../findings/finding.ts';
import { processIdentity } from './process-identity.ts';

const lockSchema = z.looseObject({
  version: z.literal(0),
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

const STEPS_BACK = 5;
const LOCK_NAME = /^lock-(\d{1,9})\.json$/;
const lockPath = (workFolder: string, number: number): string => join(workFolder, `lock-${number}.json`);

/** Numbers of the locks that lie there, highest first. */
async function lockNumbers(workFolder: string): Promise<number[]> {
  try {
    const names = await readdir(workFolder);
    return names
      .flatMap((name) => LOCK_NAME.exec(name)?.[1] ?? [])
      .map(Number)
      .sort((a, b) => b - a);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return [];
    throw error;
  }
}

async function lockText(file: string): Promise<string | null> {
  try {
    return await readFile(file, 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw error;
  }
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

export type LockState =
  | { state: 'free' }
  | { state: 'held'; holder: LockHolder }
  | { state: 'stale'; holder: LockHolder | null };

/** `stale` without a holder: a torn or foreign file under a lock's name. */
async function stateOf(file: string): Promise<LockState> {
  const text = await lockText(file);
  if (text === null) return { state: 'free' };
  const holder = parseLock(text);
  if (holder === null) return { state: 'stale', holder };
  // Nobody can look at the processes of another machine: its lock counts as held.
  const held = holder.host !== hostname() || processIdentity(holder.pid) === holder.process;
  return held ? { state: 'held', holder } : { state: 'stale', holder };
}

/** Who holds the work folder; a dead holder is told when nobody living does. */
export async function readLock(workFolder: string, except: string | null = null): Promise<LockState> {
  let found: LockState = { state: 'free' };
  for (const number of await lockNumbers(workFolder)) {
    const file = lockPath(workFolder, number);
    if (file === except) continue;
    const state = await stateOf(file);
    if (state.state === 'held') return state;
    if (state.state === 'stale' && found.state === 'free') found = state;
  }
  return found;
}

/** Throws FindingError (exit 2) that names the process when another run holds the folder. */
export async function acquireLock(workFolder: string): Promise<WorkLock> {
  await mkdir(workFolder, { recursive: true, mode: 0o700 });
  const mine: LockHolder = {
    version: 0,
    host: hostname(),
    pid: process.pid,
    process: processIdentity(process.pid) ?? 'unknown',
    since: new Date().toISOString(),
    token: randomUUID(),
  };
  const part = join(workFolder, `.lock-${mine.token}`);
  const handle = await open(part, 'wx', 0o600);
  try {
    await handle.writeFile(`${JSON.stringify(mine)}\n`);
    await handle.sync();
  } finally {
    await handle.close();
  }
  try {
    for (let round = 1; ; round += 1) {
      const [highest = 0] = await lockNumbers(workFolder);
      const file = lockPath(workFolder, highest + 1);
      if (await linked(part, file)) {
        const other = await readLock(workFolder, file);
        if (other.state !== 'held') {
          for (const number of await lockNumbers(workFolder))
            if (number !== highest + 1) await removeDead(lockPath(workFolder, number));
          return { file, release: () => release(file, mine.token) };
        }
        await release(file, mine.token);
        // Another one may step back for the same reason: who is still there after a few tries holds it.
        if (round >= STEPS_BACK) throw inUse(workFolder, other.holder);
      }
      await setTimeout(Math.random() * 20 * round);
    }
  } finally {
    await rm(part, { force: true });
  }
}

async function removeDead(file: string): Promise<void> {
  if ((await stateOf(file)).state === 'stale') await rm(file, { force: true });
}

function inUse(workFolder: string, holder: LockHolder): FindingError {
  const where =
    holder.host === hostname()
      ? ''
      : ` on ${holder.host} (if that machine is gone for good, delete the lock-….json in the work folder)`;
  return new FindingError(
    [
      finding('work-folder-in-use', `process ${holder.pid}${where}, since ${holder.since}`, 'no other run', {
        file: workFolder,
      }),
    ],
    2,
  );
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

async function release(file: string, token: string): Promise<void> {
  const text = await lockText(file);
  // The work folder may have been deleted under us, or the lock have been cleared away by hand.
  if (text !== null && parseLock(text)?.token === token) await rm(file, { force: true });
}
