/**
 * What a DPX header says beside the picture (SMPTE ST 268-1, tables 1 to 4). Undefined fields say nothing: all bits set in numbers, no
 * letters in texts.
 */
import { type StatedFrame, StatedGatherer } from '../stated.ts';

const UNDEFINED = 0xffff_ffff;

/** Texts with a place of their own, and those without, by where they lie. */
const TEXTS: readonly (readonly [name: string, at: number, length: number, from: string])[] = [
  ['cameraLabel', 1556, 32, 'input device'],
  ['cameraSerialNumber', 1588, 32, 'input device serial number'],
  ['project', 260, 200, 'project'],
  ['slate', 1764, 100, 'slate'],
];
const LEFT: readonly (readonly [from: string, at: number, length: number, why: string])[] = [
  ['copyright', 460, 200, 'the owner is said in the settings'],
  ['source image file name', 1432, 100, 'a master says the name of the file that was read'],
  ['film edge code', 1664, 16, 'without the perforations that a key code of OpenEXR needs'],
  ['film format', 1680, 32, 'OpenEXR has no place for it'],
];
const SOURCE_DATE = 1532;
const SHUTTER_ANGLE = 1728;

/** `header`: as much of it as there is in front of the picture. */
export function statedInDpx(header: Buffer, little: boolean): StatedFrame {
  const said = new StatedGatherer();
  const text = (at: number, length: number): string => {
    const field = header.subarray(at, at + length);
    if (field.length < length || field[0] === 0xff) return '';
    const end = field.indexOf(0);
    return field.toString('latin1', 0, end < 0 ? length : end).trim();
  };
  for (const [name, at, length, from] of TEXTS) said.text(name, text(at, length), from);
  const date = /^(\d{4}:\d\d:\d\d)[: ](\d\d:\d\d:\d\d)/.exec(text(SOURCE_DATE, 24));
  if (date !== null) said.text('capDate', `${date[1]} ${date[2]}`, 'source image date');
  if (header.length >= SHUTTER_ANGLE + 4) {
    const bits = little ? header.readUInt32LE(SHUTTER_ANGLE) : header.readUInt32BE(SHUTTER_ANGLE);
    const angle = little ? header.readFloatLE(SHUTTER_ANGLE) : header.readFloatBE(SHUTTER_ANGLE);
    if (bits !== UNDEFINED && angle > 0 && angle <= 360) said.float('shutterAngle', angle, 'shutter angle');
  }
  for (const [from, at, length, why] of LEFT) if (text(at, length) !== '') said.leave(from, why);
  return said.frame();
}
