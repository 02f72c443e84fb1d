/**
 * A DPX frame as it lies on disk (SMPTE ST 268-1, big-endian, RGB of 10 bits, of 12 filled to words by method A, or of 16): what its header says and
 * the codes of single pixels. Of the checker alone; nothing here is shared with the writer.
 */
import { knownRateNear, formatRatio } from '../../media/time/rate.ts';
import { carriedText, numberText } from './carried.ts';
import type { FrameSaid } from './measured.ts';
import { labelOf } from './time-address.ts';

const HEADER = 2048;
const UNDEFINED = 0xffff_ffff;
/** Transfer characteristics and colorimetry, ST 268-1, tables 5A and 5B: 3 is logarithmic, 0 is defined by the user. */
const LOGARITHMIC = 3;
const OF_THE_USER = 0;

export interface MeasuredDpx {
  readonly width: number;
  readonly height: number;
  readonly faults: readonly string[];
  readonly said: FrameSaid | null;
  codesAt(x: number, y: number): [number, number, number];
}

function text(bytes: Buffer, at: number, length: number): string | null {
  const part = bytes.subarray(at, at + length);
  const end = part.indexOf(0);
  const value = part.toString('latin1', 0, end < 0 ? length : end);
  return value === '' || bytes[at] === 0xff ? null : value;
}

/** What two fields say, which is one thing. */
const same = (one: string | null, other: string | null): string | null =>
  one === other ? one : `${one ?? 'none'} and ${other ?? 'none'}`;

/** Fields that have but one value here: name, byte, and what stands there (ST 268-1, tables 1 to 4 and 6 to 8). */
const fixedTexts: readonly (readonly [name: string, at: number, length: number, value: string | null])[] = [
  ['version', 8, 8, 'V2.0'],
  ['creator', 160, 100, 'Rushlight'],
  ['project', 260, 200, null],
  ['copyright reserved', 664, 104, null],
  ['description', 820, 32, 'ACEScct'],
  ['reserved behind the elements', 1356, 52, null],
  ['border', 1620, 8, null],
  ['reserved behind the source', 1644, 20, null],
  ['film', 1664, 48, null],
  ['reserved behind the film', 1864, 56, null],
  ['reserved behind the television', 1972, 76, null],
];
const fixedNumbers: readonly (readonly [name: string, at: number, value: number])[] = [
  // 1: no header of the frames before counts for it.
  ['ditto key', 20, 1],
  ['bytes of the generic header', 24, 1664],
  ['bytes of the industry header', 28, 384],
  ['bytes of user data', 32, 0],
  ['encryption key', 660, UNDEFINED],
  ['sign of the data', 780, 0],
  ['lowest code', 784, 0],
  ['lowest quantity', 788, UNDEFINED],
  ['highest quantity', 796, UNDEFINED],
  ['place of the data', 808, HEADER],
  ['padding of lines', 812, 0],
  ['padding of the picture', 816, 0],
  ['horizontal offset', 1408, 0],
  ['vertical offset', 1412, 0],
  ['horizontal centre', 1416, UNDEFINED],
  ['vertical centre', 1420, UNDEFINED],
  ['scanned width', 1636, UNDEFINED],
  ['scanned height', 1640, UNDEFINED],
  ['held frames', 1720, 1],
  // Interlace 0, field and signal undefined, one byte of nothing.
  ['interlace', 1928, 0x00ff_ff00],
  ['horizontal rate', 1932, UNDEFINED],
  ['vertical rate', 1936, UNDEFINED],
  ...Array.from({ length: 7 }, (_, index) => ['television', 1944 + 4 * index, UNDEFINED] as const),
];

/** Every field that has another value than its one, by name and byte. */
function othersOf(
  bytes: Buffer,
  { width, height, bits }: { readonly width: number; readonly height: number; readonly bits: number },
): string {
  const odd: string[] = [];
  for (const [name, at, length, value] of fixedTexts) {
    const wanted = Buffer.alloc(length);
    wanted.write(value ?? '', 'latin1');
    if (!bytes.subarray(at, at + length).equals(wanted)) odd.push(`${name} at byte ${at}`);
  }
  for (const [name, at, value] of fixedNumbers)
    if (bytes.readUInt32BE(at) !== value) odd.push(`${name} ${bytes.readUInt32BE(at)} at byte ${at}`);
  if (bytes.readUInt32BE(792) !== 2 ** bits - 1)
    odd.push(`highest code ${bytes.readUInt32BE(792)} at byte 792`);
  for (let element = 1; element < 8; element += 1) {
    const at = 780 + 72 * element;
    if (
      !bytes.subarray(at, at + 40).every((byte) => byte === 0xff) ||
      !bytes.subarray(at + 40, at + 72).every((byte) => byte === 0)
    )
      odd.push(`element ${element + 1} at byte ${at}`);
  }
  if (bytes.readUInt32BE(1424) !== width || bytes.readUInt32BE(1428) !== height)
    odd.push(`original ${bytes.readUInt32BE(1424)}x${bytes.readUInt32BE(1428)} at byte 1424`);
  if (bytes.readUInt32BE(1724) !== bytes.readUInt32BE(1940))
    odd.push('rates that differ at bytes 1724 and 1940');
  // A text ends at its first zero byte: behind it nothing may be hidden.
  for (const [name, at, length] of freeTexts) {
    const part = bytes.subarray(at, at + length);
    const end = part.indexOf(0);
    if (part[0] === 0xff || (end >= 0 && part.subarray(end).some((byte) => byte !== 0)))
      odd.push(`${name} with bytes behind its end at byte ${at}`);
  }
  return odd.length === 0 ? 'nothing' : odd.join(', ');
}
const freeTexts: readonly (readonly [name: string, at: number, length: number])[] = [
  ['file name', 36, 100],
  ['date', 136, 24],
  ['owner', 460, 200],
  ['source', 1432, 100],
  ['date of the source', 1532, 24],
  ['device', 1556, 32],
  ['serial number', 1588, 32],
  ['frame identification', 1732, 32],
  ['slate', 1764, 100],
];

/** How codes lie in their words, by their bits: bytes of a pixel, the field "packing" (ST 268-1, table 2: 0 packed, 1 filled by method A), in words. */
const layouts = [
  { bits: 10, pixel: 4, packing: 1, words: 'RGB, 10 bits, filled to words' },
  { bits: 12, pixel: 6, packing: 1, words: 'RGB, 12 bits, filled to words' },
  { bits: 16, pixel: 6, packing: 0, words: 'RGB, 16 bits' },
] as const;
type Layout = (typeof layouts)[number];

/** Places in words of 16 bits that are filled: four of 12 bits, at the end. */
const FILLED = 4;

/** Codes that fill more than their bits: what is behind them must be zero. */
function filledBits(bytes: Buffer, offset: number, { bits }: Layout): number {
  let filled = 0;
  if (bits === 10) for (let at = offset + 3; at < bytes.length; at += 4) filled |= (bytes[at] as number) & 3;
  if (bits === 12) for (let at = offset + 1; at < bytes.length; at += 2) filled |= (bytes[at] as number) & 15;
  return filled;
}

/** Shutter angle in degrees and slate (ST 268-1, tables 3 and 4). */
function carriedIn(bytes: Buffer): string {
  const slate = text(bytes, 1764, 100);
  return carriedText([
    ...(bytes.readUInt32BE(1728) === UNDEFINED
      ? []
      : [`shutterAngle float ${numberText('float', bytes.readFloatBE(1728))}`]),
    ...(slate === null ? [] : [`slate string ${JSON.stringify(slate)}`]),
  ]);
}

/**
 * Throws RangeError for what is no header at all. `base`: of the labels that are expected; `wanted`: bits of a code.
 */
export function dpxFrame(bytes: Buffer, base: number, wanted: number): MeasuredDpx {
  if (bytes.length < HEADER || bytes.toString('latin1', 0, 4) !== 'SDPX')
    throw new RangeError('no big-endian DPX header');
  const [offset, width, height] = [bytes.readUInt32BE(4), bytes.readUInt32BE(772), bytes.readUInt32BE(776)];
  const layout = layouts.find(({ bits }) => bits === wanted) ?? layouts[0];
  const needed = offset + layout.pixel * width * height;
  const faults: string[] = [];
  const expect = (what: string, found: number, wanted: number): void => {
    if (found !== wanted) faults.push(`${what} ${found}, not ${wanted}`);
  };
  expect('bytes of the picture from', offset, HEADER);
  expect('bytes', bytes.length, needed);
  expect('bytes by its header', bytes.readUInt32BE(16), bytes.length);
  expect('descriptor', bytes.readUInt8(800), 50);
  expect('bits', bytes.readUInt8(803), wanted);
  expect('packing', bytes.readUInt16BE(804), layout.packing);
  expect('encoding', bytes.readUInt16BE(806), 0);
  expect('elements', bytes.readUInt16BE(770), 1);
  if (faults.length === 0 && filledBits(bytes, offset, layout) !== 0)
    faults.push('bits behind codes that are not zero');
  const time = bytes.readUInt32BE(1920);
  const rates = [1940, 1724].map((at) =>
    bytes.readUInt32BE(at) === UNDEFINED ? null : knownRateNear(bytes.readFloatBE(at)),
  );
  const rate = rates.find((one) => one !== null) ?? null;
  const aspect = [bytes.readUInt32BE(1628), bytes.readUInt32BE(1632)];
  const colours =
    bytes.readUInt8(801) === LOGARITHMIC && bytes.readUInt8(802) === OF_THE_USER
      ? 'ACEScct, logarithmic'
      : `transfer ${bytes.readUInt8(801)}, colorimetry ${bytes.readUInt8(802)}`;
  return {
    width,
    height,
    faults,
    said: {
      size: `${width}x${height}`,
      windows: `${width}x${height}`,
      channels:
        layouts.find(
          ({ bits, packing }) =>
            bytes.readUInt8(800) === 50 &&
            bytes.readUInt8(803) === bits &&
            bytes.readUInt16BE(804) === packing,
        )?.words ?? 'others',
      compression: bytes.readUInt16BE(806) === 0 ? 'none' : 'some',
      // Image orientation, table 2 of ST 268-1: 0 is from the left to the right and from the top down.
      lineOrder: bytes.readUInt16BE(768) === 0 ? 'increasing-y' : `orientation ${bytes.readUInt16BE(768)}`,
      colours,
      neutral: null,
      pixelAspect: aspect.includes(UNDEFINED) ? '1/1' : `${aspect[0]}/${aspect[1]}`,
      rate: rate === null ? null : formatRatio(rate),
      timecode: time === UNDEFINED ? null : labelOf(time, bytes.readUInt32BE(1924), base),
      reel: null,
      owner: text(bytes, 460, 200),
      comments: null,
      captured: same(text(bytes, 136, 24), text(bytes, 1532, 24)),
      iso: null,
      exposure: null,
      source: text(bytes, 36, 100),
      origin: text(bytes, 1432, 100),
      counter: `${same(String(bytes.readUInt32BE(1712)), text(bytes, 1732, 32))} of ${bytes.readUInt32BE(1716)}`,
      development: null,
      camera: text(bytes, 1556, 32),
      serial: text(bytes, 1588, 32),
      whiteBalance: null,
      carried: carriedIn(bytes),
      others: othersOf(bytes, { width, height, bits: layout.bits }),
    },
    codesAt(x, y) {
      if (layout.bits !== 10) {
        const at = offset + layout.pixel * (y * width + x);
        const shift = layout.bits === 12 ? FILLED : 0;
        return [
          bytes.readUInt16BE(at) >>> shift,
          bytes.readUInt16BE(at + 2) >>> shift,
          bytes.readUInt16BE(at + 4) >>> shift,
        ];
      }
      const word = bytes.readUInt32BE(offset + 4 * (y * width + x));
      return [word >>> 22, (word >>> 12) & 1023, (word >>> 2) & 1023];
    },
  };
}
