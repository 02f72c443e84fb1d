/**
 * The header of a DPX file (SMPTE ST 268-1), 2048 bytes, big-endian: generic part, film and television parts, no user data.
 * Offsets as in OpenImageIO's reader (src/dpx.imageio/libdpx/DPXHeader.h); the tests read what is written here with it and with
 * ffprobe. What is not known is undefined: all bits set in numbers, zero in texts.
 */
import type { Rate, Ratio } from '../../time/rate.ts';
import { packTimecode } from '../timecode.ts';
import type { Timecode } from '../../time/timecode.ts';

export const DPX_HEADER = 2048;
const GENERIC = 1664;

export interface DpxForm {
  readonly width: number;
  readonly height: number;
  /** Of a code. */
  readonly bits: 10 | 12 | 16;
}

/** What one frame says of itself; absent means not known. */
export interface DpxFrame {
  readonly fileName: string;
  /** What the codes are of, 32 letters at most: the standard's own list of transfers says no more than logarithmic. */
  readonly encoding: string;
  readonly rate: Rate;
  readonly timecode: Timecode;
  readonly pixelAspect: Ratio;
  /** From 0, and how many there are. */
  readonly position: number;
  readonly frames: number;
  /** `YYYY:MM:DD hh:mm:ss`, when the picture was taken. */
  readonly captured?: string;
  readonly owner?: string;
  readonly sourceFile?: string;
  /** Camera's label and serial number. */
  readonly device?: string;
  readonly serial?: string;
  /** Degrees. */
  readonly shutterAngle?: number;
  readonly slate?: string;
}

/** Descriptor of an element: R, G, B. */
const RGB = 50;
/** Transfer: logarithmic. Colorimetry: defined by the user, since the list of the standard ends before AP1. */
const LOGARITHMIC = 3;
const OF_THE_USER = 0;
/** Codes of 10 and 12 bits do not fill their words; those of 16 do: packed. */
const PACKED = 0;
const FILLED_METHOD_A = 1;
/** Frames of a time address count to 29; the header has no mark for the second of a pair. */
const MOST_BASE = 30;

/** Of three codes: one word of 32 bits, or a word of 16 each. */
export const pixelBytes = ({ bits }: Pick<DpxForm, 'bits'>): number => (bits === 10 ? 4 : 6);
/** Whole size of a file. */
export const dpxBytes = (form: DpxForm): number => DPX_HEADER + pixelBytes(form) * form.width * form.height;

/** Throws RangeError for a date of another form. */
export function dpxHeader(form: DpxForm, frame: DpxFrame): Buffer {
  const { width, height, bits } = form;
  const bytes = Buffer.alloc(DPX_HEADER, 0xff);
  /** ASCII up to the field's length; what does not fit, or is no ASCII, stays undefined. */
  const text = (at: number, length: number, value?: string): void => {
    bytes.fill(0, at, at + length);
    if (value !== undefined && /^[\x20-\x7e]*$/.test(value) && value.length <= length)
      bytes.write(value, at, 'latin1');
  };
  const date = (at: number, value?: string): void => {
    if (value !== undefined && !/^\d{4}:\d{2}:\d{2} \d{2}:\d{2}:\d{2}$/.test(value))
      throw new RangeError(`${JSON.stringify(value)} is not YYYY:MM:DD hh:mm:ss`);
    text(at, 24, value?.replace(' ', ':'));
  };
  const u32 = (at: number, ...values: readonly number[]): void => {
    values.forEach((value, index) => {
      bytes.writeUInt32BE(value, at + 4 * index);
    });
  };
  // File.
  bytes.write('SDPX', 0, 'latin1');
  u32(4, DPX_HEADER);
  text(8, 8, 'V2.0');
  // The ditto key: 1, this header is not the one of the frame before.
  u32(16, dpxBytes(form), 1, GENERIC, DPX_HEADER - GENERIC, 0);
  text(36, 100, frame.fileName);
  date(136, frame.captured);
  text(160, 100, 'Rushlight');
  text(260, 200);
  text(460, 200, frame.owner);
  // 660, the encryption key: undefined, not encrypted.
  text(664, 104);
  // Picture: from the left to the right, from the top down; one element.
  bytes.writeUInt16BE(0, 768);
  bytes.writeUInt16BE(1, 770);
  u32(772, width, height);
  // Unsigned codes from 0 to the most one; what quantities they stand for ST 268 has no unit for.
  u32(780, 0, 0);
  u32(792, 2 ** bits - 1);
  bytes.set([RGB, LOGARITHMIC, OF_THE_USER, bits], 800);
  bytes.writeUInt16BE(bits === 16 ? PACKED : FILLED_METHOD_A, 804);
  bytes.writeUInt16BE(0, 806);
  u32(808, DPX_HEADER, 0, 0);
  text(820, 32, frame.encoding);
  // Elements 2 to 8 are not there: undefined throughout, but for their texts.
  for (let element = 1; element < 8; element++) text(820 + 72 * element, 32);
  text(1356, 52);
  // Origin: the picture is the whole of its original.
  u32(1408, 0, 0);
  u32(1424, width, height);
  text(1432, 100, frame.sourceFile);
  date(1532, frame.captured);
  text(1556, 32, frame.device);
  text(1588, 32, frame.serial);
  bytes.fill(0, 1620, 1628);
  u32(1628, frame.pixelAspect.num, frame.pixelAspect.den);
  text(1644, 20);
  // Film.
  text(1664, 48);
  u32(1712, frame.position, frame.frames, 1);
  const rate = frame.rate.num / frame.rate.den;
  bytes.writeFloatBE(rate, 1724);
  if (frame.shutterAngle !== undefined) bytes.writeFloatBE(frame.shutterAngle, 1728);
  text(1732, 32, String(frame.position));
  text(1764, 100, frame.slate);
  text(1864, 56);
  // Television: progressive.
  const words = frame.timecode.base > MOST_BASE ? null : packTimecode(frame.timecode);
  if (words !== null) u32(1920, words.timeAndFlags, 0);
  bytes.writeUInt8(0, 1928);
  bytes.writeUInt8(0, 1931);
  bytes.writeFloatBE(rate, 1940);
  text(1972, 76);
  return bytes;
}
