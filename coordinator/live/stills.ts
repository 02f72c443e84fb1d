/**
 * The newest still of a delivery, small, as a display shows it. Stills are made when the deliverables of their clip are; of a clip in
 * hand there may be a picture of another kind (views.ts).
 */
import { createHash } from 'node:crypto';
import { readdir, readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../../files/names.ts';
import { lightOfStill } from '../../handover/picture/still.ts';
import { layout, placeBelow } from '../../ledger/layout.ts';
import { type StillsReport, stillsReportSchema } from '../../ledger/stills-report.ts';
import { readRecord } from '../../ledger/store.ts';
import type { StillSeen } from './seen.ts';
import { smallPicture } from './small-picture.ts';

/** Rolls whose folders are looked through at one look: those in which something may have come. */
const MOST_ROLLS = 12;

export interface NewestStill {
  /** `rolls`: those that may have a new one. null: there is none yet. */
  look(delivery: string, day: string, rolls: readonly string[]): Promise<StillSeen | null>;
  /** The picture of that version; null: it is another one by now. */
  picture(version: string): Buffer | null;
}

interface Newest {
  readonly file: string;
  readonly rollFolder: string;
  readonly modified: number;
}

async function newestIn(rollFolder: string): Promise<Newest | null> {
  const folder = layout.stillsFolder(rollFolder);
  const names = await readdir(fsPath(folder)).catch(() => []);
  let newest: Newest | null = null;
  for (const name of names) {
    if (!name.endsWith('.json') || name.startsWith('.')) continue;
    const file = join(folder, name);
    const stats = await stat(fsPath(file)).catch(() => null);
    if (stats !== null && stats.mtimeMs > (newest?.modified ?? 0))
      newest = { file, rollFolder, modified: stats.mtimeMs };
  }
  return newest;
}

interface Shown {
  readonly seen: StillSeen;
  readonly jpeg: Buffer;
}

/** null: it is not published, or its file is not the one on record. */
async function pictureOf({ file, rollFolder }: Newest): Promise<Shown | null> {
  const read = await readRecord(file, stillsReportSchema);
  if (read.state !== 'read' || read.value.state !== 'published') return null;
  const report: StillsReport = read.value;
  // That of the middle, as pages have it.
  const still = report.stills[Math.floor((report.stills.length - 1) / 2)];
  const place = still === undefined ? null : placeBelow(rollFolder, still.path);
  if (still === undefined || place === null) return null;
  const png = await readFile(fsPath(place)).catch(() => null);
  if (png === null || createHash('sha256').update(png).digest('hex') !== still.sha256) return null;
  const light = lightOfStill(png);
  if (light === null) return null;
  return {
    seen: {
      of: 'made',
      roll: report.roll,
      clip: report.clip.name,
      timecode: still.timecode,
      version: still.sha256.slice(0, 16),
    },
    jpeg: smallPicture(light),
  };
}

export function newestStill(): NewestStill {
  let newest: Newest | null = null;
  let shown: Shown | null = null;
  /** When something last came into a folder, by the folder: one in which nothing did is not listed again. */
  const changed = new Map<string, number>();
  const hasNew = async (rollFolder: string): Promise<boolean> => {
    const stats = await stat(fsPath(layout.stillsFolder(rollFolder))).catch(() => null);
    if (stats === null || changed.get(rollFolder) === stats.mtimeMs) return false;
    changed.set(rollFolder, stats.mtimeMs);
    return true;
  };
  return {
    look: async (delivery, day, rolls) => {
      for (const roll of rolls.slice(0, MOST_ROLLS)) {
        const rollFolder = layout.rollFolder(delivery, day, roll);
        const found = (await hasNew(rollFolder)) ? await newestIn(rollFolder) : null;
        if (found === null || (newest !== null && found.modified <= newest.modified)) continue;
        newest = found;
        // One that cannot be shown leaves the one before it.
        shown = (await pictureOf(found)) ?? shown;
      }
      return shown?.seen ?? null;
    },
    picture: (version) => (shown?.seen.version === version ? shown.jpeg : null),
  };
}
