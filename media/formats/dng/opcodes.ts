/** Lists of operations on the picture (DNG specification, chapter 7): which there are, and whether a reader may pass over them. */
import { StillDamage } from '../still.ts';
import type { RawOpcode } from './header.ts';

const NAMES = [
  'WarpRectilinear',
  'WarpFisheye',
  'FixVignetteRadial',
  'FixBadPixelsConstant',
  'FixBadPixelsList',
  'TrimBounds',
  'MapTable',
  'MapPolynomial',
  'GainMap',
  'DeltaPerRow',
  'DeltaPerColumn',
  'ScalePerRow',
  'ScalePerColumn',
  'WarpRectilinear2',
];

export function opcodeName(id: number): string {
  return NAMES[id - 1] ?? `opcode ${id}`;
}

const HEAD_BYTES = 16;

/** Big end first whatever the file's byte order. Throws StillDamage when the list does not end where it should. */
export function readOpcodes(list: RawOpcode['list'], bytes: Buffer): RawOpcode[] {
  const wrong = (): StillDamage => new StillDamage(`OpcodeList${list} is cut off`);
  if (bytes.length < 4) throw wrong();
  const opcodes: RawOpcode[] = [];
  let at = 4;
  for (let left = bytes.readUInt32BE(0); left > 0; left -= 1) {
    if (at + HEAD_BYTES > bytes.length) throw wrong();
    const flags = bytes.readUInt32BE(at + 8);
    opcodes.push({
      list,
      id: bytes.readUInt32BE(at),
      optional: (flags & 1) !== 0,
      forQuality: (flags & 2) !== 0,
    });
    at += HEAD_BYTES + bytes.readUInt32BE(at + 12);
    if (at > bytes.length) throw wrong();
  }
  return opcodes;
}
