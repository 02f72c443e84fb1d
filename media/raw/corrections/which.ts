/** Which corrections a frame asks for, which of them are made here, and on which picture each works (DNG specification, chapter 7). Pure. */
import type { RawPicture } from '../../formats/dng/header.ts';
import {
  type Bounds,
  type Correction,
  opcodeName,
  type RawOpcode,
  type Rectangle,
  trimmed,
} from '../../formats/dng/opcodes.ts';
import { sizeOf } from '../develop/crop.ts';

/** As people and records name it. */
export const correctionName = ({ id, list }: Pick<RawOpcode, 'id' | 'list'>): string =>
  `${opcodeName(id)} (list ${list})`;

const covers = (area: Rectangle, width: number, height: number): boolean =>
  area.top === 0 && area.left === 0 && area.bottom >= height && area.right >= width;

/** What is asked of the picture in such a list, and cannot be made of it here; null: nothing speaks against it. */
export function whyNot(
  { list, correction, why }: RawOpcode,
  picture: Pick<RawPicture, 'pattern' | 'width' | 'height' | 'activeArea'>,
): string | null {
  if (correction === null) return why;
  const { kind } = correction;
  if (kind === 'bad-constant' || kind === 'bad-list') {
    if (picture.pattern === null) return 'bad pixels of a picture without a mosaic';
    if (list === 3 || (list === 2 && kind === 'bad-constant')) return `bad pixels in list ${list}`;
    return null;
  }
  if (kind === 'trim' && list === 1)
    return covers(correction.area, picture.width, picture.height) ? null : 'cuts stored values';
  if (list === 1) return 'on stored values';
  if (kind === 'warp' && list === 2 && picture.pattern !== null) return 'on a mosaic';
  return null;
}

export interface Placed {
  readonly list: RawOpcode['list'];
  readonly correction: Correction;
  readonly bounds: Bounds;
}

/** Those that are made of a frame, in their order, each with the picture that it works on: what a trim leaves is the picture of those behind it. */
export function placed(
  opcodes: readonly RawOpcode[],
  picture: Pick<RawPicture, 'pattern' | 'width' | 'height' | 'activeArea'>,
  made: readonly string[],
): Placed[] {
  let bounds: Bounds = { top: 0, left: 0, ...sizeOf(picture.activeArea) };
  const all: Placed[] = [];
  for (const opcode of opcodes) {
    const { list, correction } = opcode;
    if (correction === null || whyNot(opcode, picture) !== null) continue;
    // What is cut off is cut off whatever is chosen (formats/dng/reader.ts).
    if (correction.kind === 'trim') {
      if (list !== 1) bounds = trimmed(bounds, correction.area);
    } else if (made.includes(correctionName(opcode))) all.push({ list, correction, bounds });
  }
  return all;
}
