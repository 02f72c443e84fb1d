/**
 * Numbers of those who publish a deliverable, on the delivery itself: who would replace a report or a file takes the next
 * one first, and it only grows. A process that froze after it was told that the job is its own finds, when it thaws, that
 * another one has the number it wants, or a higher one, and steps back.
 *
 *   <delivery>/.rushlight-claims/<of the deliverable, 32>/<n>         a number that was taken; its content says by whom
 *   <delivery>/.rushlight-claims/<of the deliverable, 32>/<n>.json    the report that was written under it
 *
 * A number is taken by link(2), which gives a name only if it is free, or by exclusive creation where a volume has no links.
 * It is read first, then the fence is asked, then it is taken: nobody else can have got the job and a number in between
 * without this one being refused, or seeing that a higher number stands and asking again.
 */
import { createHash } from 'node:crypto';
import { link, open, readdir, readFile, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { codeOf } from '../files/error-code.ts';
import { belongToFolder } from '../files/belonging.ts';
import { makeFolders } from '../files/folders.ts';
import { fsPath } from '../files/names.ts';
import { OWN_PREFIX } from './layout.ts';
import { newToken, ownerName, thisOwner } from './owner.ts';

export const CLAIMS_FOLDER = `${OWN_PREFIX}claims`;

/** Somebody has a higher number: whatever this process still holds of the deliverable is not to be published. */
export class ClaimOvertaken extends Error {
  constructor(taken: number, highest: number) {
    super(`publishing ${taken} was overtaken by ${highest}`);
    this.name = 'ClaimOvertaken';
  }
}

export interface Claim {
  /** From 1. */
  readonly number: number;
  /** Throws ClaimOvertaken when somebody has taken a higher one. */
  assertHighest(): Promise<void>;
  /** Keeps the report that was written under this number. */
  keep(report: string): Promise<void>;
  /** Of the highest number that has one, if that is not this one's; null: none. */
  higherReport(): Promise<string | null>;
}

/** Which deliverable: names of day and roll, id of the clip, name of the profile. */
export type ClaimSubject = readonly [day: string, roll: string, clip: string, profile: string];

export function claimsOf(delivery: string, subject: ClaimSubject): string {
  const name = createHash('sha256').update(JSON.stringify(subject)).digest('hex').slice(0, 32);
  return join(delivery, CLAIMS_FOLDER, name);
}

const NO_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK', 'EINVAL']);
/** Each one lost is one that another process won. */
const ROUNDS = 32;

/** 0: none was taken. */
export async function highestClaim(folder: string): Promise<number> {
  try {
    const numbers = (await readdir(fsPath(folder))).flatMap((name) =>
      /^\d{1,9}$/.test(name) ? Number(name) : [],
    );
    return Math.max(0, ...numbers);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return 0;
    throw error;
  }
}

/** `fence`: throws when the job is not this process's any more. Throws that, and what node:fs throws. The delivery must be there. */
export async function takeClaim(folder: string, fence: () => Promise<void>): Promise<Claim> {
  await makeFolders(folder);
  for (let round = 0; round < ROUNDS; round += 1) {
    const number = (await highestClaim(folder)) + 1;
    await fence();
    // Lower numbers are removed: that it was free does not say that nobody had it, nor that nobody has a higher one.
    if ((await takeNumber(folder, number)) && (await highestClaim(folder)) === number) {
      await removeBelow(folder, number);
      return claimOf(folder, number);
    }
  }
  throw new ClaimOvertaken(0, await highestClaim(folder));
}

/** False: somebody has it. */
async function takeNumber(folder: string, number: number): Promise<boolean> {
  const part = join(folder, newToken());
  const path = join(folder, String(number));
  const text = `${ownerName(thisOwner())}\n`;
  try {
    await writeNew(part, text);
    await link(fsPath(part), fsPath(path));
    return true;
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false;
    if (!NO_LINKS.has(codeOf(error))) throw error;
  } finally {
    await rm(fsPath(part), { force: true }).catch(() => undefined);
  }
  try {
    await writeNew(path, text);
    return true;
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false;
    throw error;
  }
}

async function writeNew(path: string, text: string): Promise<void> {
  const handle = await open(fsPath(path), 'wx', 0o644);
  try {
    await handle.writeFile(text);
    await belongToFolder(handle, dirname(path));
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/** Lower numbers say nothing any more. */
async function removeBelow(folder: string, number: number): Promise<void> {
  for (const name of await readdir(fsPath(folder))) {
    const one = /^(\d{1,9})(?:\.json)?$/.exec(name)?.[1];
    if (one !== undefined && Number(one) < number) await rm(fsPath(join(folder, name)), { force: true });
  }
}

function claimOf(folder: string, number: number): Claim {
  const kept = (of: number): string => join(folder, `${of}.json`);
  return {
    number,
    async assertHighest() {
      const highest = await highestClaim(folder);
      if (highest !== number) throw new ClaimOvertaken(number, highest);
    },
    async keep(report) {
      await rm(fsPath(kept(number)), { force: true });
      await writeNew(kept(number), report);
    },
    async higherReport() {
      const highest = await highestClaim(folder);
      if (highest <= number) return null;
      try {
        return await readFile(fsPath(kept(highest)), 'utf8');
      } catch (error) {
        if (codeOf(error) === 'ENOENT') return null;
        throw error;
      }
    },
  };
}
