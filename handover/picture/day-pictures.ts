/**
 * The stills of a day, read once each: in the size of a page and in that of a contact sheet. A still is shown only when its
 * bytes are those on record.
 */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { placeBelow } from '../../ledger/layout.ts';
import type { DayClip, DayStill } from '../day.ts';
import { SHEET_PICTURE } from '../sheet/sheet.ts';
import { fittedInto, type Picture } from './picture.ts';
import { reduced, shownAs } from './scale.ts';
import { lightOfStill } from './still.ts';

export interface ClipPictures {
  readonly still: DayStill;
  readonly sheet: Picture;
  /** null: the page has no room for pictures. */
  readonly page: Picture | null;
}

/** That of the middle. */
export function stillShown(clip: Pick<DayClip, 'stills'>): DayStill | null {
  return clip.stills[Math.floor((clip.stills.length - 1) / 2)] ?? null;
}

type Read = { readonly file: Buffer } | { readonly why: string };

async function readStillFile(dayFolder: string, { path, sha256 }: DayStill): Promise<Read> {
  const place = placeBelow(dayFolder, path);
  if (place === null) return { why: 'a path that leads out of the delivery' };
  try {
    const file = await readFile(fsPath(place));
    const found = createHash('sha256').update(file).digest('hex');
    return found === sha256 ? { file } : { why: `SHA-256 ${found}` };
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return { why: codeOf(error) };
  }
}

/** null: the clip has no still. `box`: of the page; null: none. */
export async function picturesOf(
  dayFolder: string,
  clip: DayClip,
  box: { readonly width: number; readonly height: number } | null,
): Promise<ClipPictures | Finding | null> {
  const still = stillShown(clip);
  if (still === null) return null;
  const read = await readStillFile(dayFolder, still);
  const light = 'file' in read ? lightOfStill(read.file) : null;
  if (light === null)
    return finding(
      'still-not-shown',
      'why' in read ? read.why : 'no whole PNG file',
      `SHA-256 ${still.sha256}`,
      { roll: clip.roll, clip: clip.id, file: still.path },
    );
  const small = reduced(light, fittedInto(light, SHEET_PICTURE));
  const ofSheet = light.inBt709(small);
  return {
    still,
    sheet: shownAs(ofSheet),
    page: box === null ? null : shownAs(reduced(ofSheet, fittedInto(ofSheet, box))),
  };
}
