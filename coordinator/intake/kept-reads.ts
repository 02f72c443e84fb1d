/**
 * What this machine has read, kept so that a night that was ended goes on without reading it once more. Of each file its path, and
 * what the system said of it when every byte was read (files/seen.ts), the device's number before it, and its checksums.
 *
 * It is read again, whatever is kept, when
 *   - its size, number, times or device differ: it was changed, replaced, or its drive was mounted anew
 *   - it was read longer ago than the user allows
 *   - it lies on a file system without numbers that last, or was changed less than two seconds before it was read, by this
 *     machine's clock: then a later change might show nowhere
 *   - another checksum is asked for than was computed
 *   - another machine read it: what lies there under these paths may be another drive
 * What a drive gives wrong since, without a change that the system knows of, is not seen; nor is it in the night after a roll is read.
 */
import { createHash } from 'node:crypto';
import { appendFile, mkdir, readdir, readFile, rm, stat } from 'node:fs/promises';
import { lstat } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { seenText } from '../../files/seen.ts';

const lineSchema = z.object({
  path: z.string(),
  /** `<device> <seenText>`. */
  stood: z.string(),
  bytes: z.int().nonnegative(),
  hashes: z.record(z.string(), z.string()),
  /** Milliseconds since 1970, by this machine's clock. */
  at: z.number(),
});
export type KeptRead = z.infer<typeof lineSchema>;

/** Of one copy of a roll. */
export interface CopyReads {
  /** null: it is to be read. */
  find(path: string, wanted: readonly string[]): Promise<KeptRead | null>;
  /** A file that was read whole just now. Throws what node:fs throws. */
  keep(
    path: string,
    read: {
      readonly bytes: number;
      readonly hashes: Readonly<Record<string, string>>;
      readonly seen: string;
    },
  ): Promise<void>;
}

export interface KeptReads {
  /** `folder`: of the copy of the roll. */
  of(folder: string): Promise<CopyReads>;
}

const RACY_MILLISECONDS = 2_000;

/** `folder`: on this machine's own disk. `now`: milliseconds since 1970. */
export function keptReads(
  folder: string,
  againMilliseconds: number,
  now: () => number = Date.now,
): KeptReads {
  const isFresh = (at: number): boolean => at <= now() && now() - at < againMilliseconds;
  return {
    async of(copy) {
      const file = join(folder, `${createHash('sha256').update(copy).digest('hex').slice(0, 32)}.jsonl`);
      const known = new Map((await linesOf(file)).map((line) => [line.path, line]));
      return {
        async find(path, wanted) {
          const line = known.get(path);
          if (line === undefined || !isFresh(line.at)) return null;
          if (!wanted.every((name) => Object.hasOwn(line.hashes, name))) return null;
          return (await stands(join(copy, path)))?.text === line.stood ? line : null;
        },
        async keep(path, { bytes, hashes, seen }) {
          const stood = await stands(join(copy, path));
          if (stood === null || stood.seen !== seen || now() - stood.changed < RACY_MILLISECONDS) return;
          const line: KeptRead = { path, stood: stood.text, bytes, hashes: { ...hashes }, at: now() };
          known.set(path, line);
          await mkdir(folder, { recursive: true, mode: 0o700 });
          // A line that a crash cuts off is no line. The one before it ends with its own.
          await appendFile(file, `${JSON.stringify(line)}\n`, { mode: 0o600 });
        },
      };
    },
  };
}

/** As a file stands now; null: there is none. */
async function stands(path: string): Promise<{ text: string; seen: string; changed: number } | null> {
  try {
    const stats = await lstat(fsPath(path), { bigint: true });
    if (!stats.isFile()) return null;
    const seen = seenText(stats);
    return { text: `${stats.dev} ${seen}`, seen, changed: Number(stats.ctimeNs / 1_000_000n) };
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** What cannot be read of it is as good as none: the files are read again. */
async function linesOf(file: string): Promise<KeptRead[]> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return [];
  }
  return text.split('\n').flatMap((line) => {
    try {
      const parsed = lineSchema.safeParse(JSON.parse(line));
      return parsed.success ? [parsed.data] : [];
    } catch {
      return [];
    }
  });
}

/** Takes away what is older than the user allows. */
export async function forgetOldReads(folder: string, againMilliseconds: number): Promise<void> {
  let names: string[];
  try {
    names = await readdir(folder);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return;
    throw error;
  }
  for (const name of names.filter((one) => one.endsWith('.jsonl'))) {
    const { mtimeMs } = await stat(join(folder, name));
    if (Date.now() - mtimeMs > againMilliseconds) await rm(join(folder, name), { force: true });
  }
}
