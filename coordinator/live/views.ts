/**
 * Pictures of the frames that are being made, of those that lie beside the jobs (worker/view.ts). A worker makes one when it is asked:
 * while somebody reads the page, a file there is given another text every few seconds. Where this process may not write, or a worker
 * makes none, there is no such picture.
 */
import { mkdir, open, readdir, readFile, stat } from 'node:fs/promises';
import { createHash } from 'node:crypto';
import { constants } from 'node:fs';
import { join } from 'node:path';
import { readStill, StillDamaged } from '../../check/stills/png.ts';
import { belongToFolder, takeAfterFolder } from '../../files/belonging.ts';
import { fsPath } from '../../files/names.ts';
import { lightOfRead } from '../../handover/picture/still.ts';
import { layout, STAGING_PREFIX } from '../../ledger/layout.ts';
import { newToken } from '../../ledger/owner.ts';
import type { StillSeen } from './seen.ts';
import { smallPicture } from './small-picture.ts';

const ASK_MILLISECONDS = 10_000;
/** A picture that nobody made anew for so long is of a worker that is gone, or has something else in hand. */
const FRESH_MILLISECONDS = 45_000;
const MOST_ROLLS = 12;
const MOST_BYTES = 8 * 2 ** 20;

export interface FrameViews {
  /** `rolls`: those that are being made. Asks for pictures, and gives the newest; null: there is none. */
  look(delivery: string, day: string, rolls: readonly string[]): Promise<StillSeen | null>;
  /** The picture of that version; null: it is another one by now. */
  picture(version: string): Buffer | null;
}

interface Shown {
  readonly seen: StillSeen;
  readonly jpeg: Buffer;
}

interface Found {
  readonly file: string;
  readonly roll: string;
  readonly modified: number;
  readonly bytes: number;
}

async function viewsOf(folder: string, roll: string): Promise<Found[]> {
  const found: Found[] = [];
  for (const name of await readdir(fsPath(folder)).catch(() => [])) {
    if (!name.endsWith('.png') || name.startsWith(STAGING_PREFIX)) continue;
    const file = join(folder, name);
    const stats = await stat(fsPath(file)).catch(() => null);
    if (stats?.isFile()) found.push({ file, roll, modified: stats.mtimeMs, bytes: stats.size });
  }
  return found;
}

/** null: it is gone by now, or no picture of a worker's. */
async function shownOf({ file, roll, bytes }: Found): Promise<Shown | null> {
  if (bytes > MOST_BYTES) return null;
  const png = await readFile(fsPath(file)).catch(() => null);
  if (png === null) return null;
  try {
    const read = readStill(png);
    const clip = read.texts.get('Title');
    if (clip === undefined) return null;
    return {
      seen: {
        of: 'being-made',
        ...{ roll, clip, timecode: read.texts.get('Timecode') ?? null },
        version: createHash('sha256').update(png).digest('hex').slice(0, 16),
      },
      jpeg: smallPicture(lightOfRead(read)),
    };
  } catch (error) {
    if (error instanceof StillDamaged) return null;
    throw error;
  }
}

/** Beside jobs that are there: a roll that is over by now gets nothing. */
async function ask(rollFolder: string): Promise<void> {
  const folder = layout.viewFolder(rollFolder);
  const isNew = await mkdir(fsPath(folder)).then(
    () => true,
    () => false,
  );
  if (isNew) await takeAfterFolder(folder).catch(() => undefined);
  const { O_WRONLY, O_CREAT, O_TRUNC, O_NOFOLLOW } = constants;
  const handle = await open(
    fsPath(layout.viewAsked(rollFolder)),
    O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW,
  ).catch(() => null);
  if (handle === null) return;
  try {
    await handle.writeFile(newToken());
    await belongToFolder(handle, folder);
  } catch {
    // A full disk, a share that went: the page has the newest still then.
  } finally {
    await handle.close().catch(() => undefined);
  }
}

export function frameViews(now: () => number = () => performance.now()): FrameViews {
  /** When each was first seen as it is, by its place and time. */
  let known = new Map<string, number>();
  let askedAt = Number.NEGATIVE_INFINITY;
  let newest: string | null = null;
  let shown: Shown | null = null;
  return {
    look: async (delivery, day, rolls) => {
      const folders = rolls
        .slice(0, MOST_ROLLS)
        .map((roll) => ({ roll, rollFolder: layout.rollFolder(delivery, day, roll) }));
      if (now() - askedAt >= ASK_MILLISECONDS) {
        askedAt = now();
        for (const { rollFolder } of folders) await ask(rollFolder);
      }
      const found: Found[] = [];
      for (const { roll, rollFolder } of folders)
        found.push(...(await viewsOf(layout.viewFolder(rollFolder), roll)));
      const keyOf = ({ file, modified }: Found): string => JSON.stringify([file, modified]);
      known = new Map(found.map((one) => [keyOf(one), known.get(keyOf(one)) ?? now()]));
      // Times of files are compared with one another alone: their clock may be another machine's.
      const [first] = found
        .filter((one) => now() - (known.get(keyOf(one)) ?? now()) < FRESH_MILLISECONDS)
        .sort((a, b) => b.modified - a.modified);
      if (first === undefined) {
        newest = null;
        shown = null;
      } else if (keyOf(first) !== newest) {
        // One that cannot be shown leaves the one before it.
        shown = (await shownOf(first)) ?? shown;
        newest = keyOf(first);
      }
      return shown?.seen ?? null;
    },
    picture: (version) => (shown?.seen.version === version ? shown.jpeg : null),
  };
}
