/** Clips of the rolls that a delivery has records of: a card that was copied on another day under another name is in none of the day's own rolls. */
import { join } from 'node:path';
import { printable } from '../../files/names.ts';
import { codeOf } from '../../files/error-code.ts';
import { foldersIn } from '../../handover/read-day.ts';
import type { Clip } from '../../ledger/clip.ts';
import { layout } from '../../ledger/layout.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import type { Contents } from './repeats.ts';

/** By their digests: path, size and checksum of every file of the clip (ledger/content-digest.ts). What is pulled of a clip is of no card of its own. */
export const contentsOfClips = (name: string, clips: readonly Clip[]): Contents => ({
  name,
  keys: new Map(
    clips.filter(({ stretch }) => stretch === undefined).map((clip) => [clip.contentDigest, clip.name]),
  ),
});

/** `isRead`: rolls that are read anew, whose records say nothing more. A damaged record is reported where the page is made. */
export async function contentsOnDelivery(
  delivery: string,
  isRead: (day: string, roll: string) => boolean,
): Promise<Contents[]> {
  const found: Contents[] = [];
  for (const day of await foldersOrNone(delivery))
    for (const folder of await foldersOrNone(join(delivery, day))) {
      const read = await readRecord(layout.verdict(join(delivery, day, folder)), rollVerdictSchema);
      if (read.state !== 'read' || isRead(read.value.day, read.value.roll)) continue;
      const { roll, clips, day: ofDay } = read.value;
      found.push(
        contentsOfClips(
          `${printable(roll)} of ${printable(ofDay)}, on this delivery`,
          clips.map(({ clip }) => clip),
        ),
      );
    }
  return found;
}

async function foldersOrNone(folder: string): Promise<string[]> {
  try {
    return await foldersIn(folder);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return [];
  }
}
