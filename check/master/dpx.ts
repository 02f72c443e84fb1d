/**
 * A DPX frame as it lies on disk (SMPTE ST 268-1, big-endian, 10-bit RGB filled to words by method A): what its header says and
 * the codes of single pixels. Of the checker alone; nothing here is shared with the writer.
 */
import { knownRateNear, formatRatio } from '../../media/time/rate.ts';
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

/** Throws RangeError for what is no header at all. `base`: of the labels that are expected. */
export function dpxFrame(bytes: Buffer, base: number): MeasuredDpx {
  if (bytes.length < HEADER || bytes.toString('latin1', 0, 4) !== 'SDPX')
    throw new RangeError('no big-endian DPX header');
  const [offset, width, height] = [bytes.readUInt32BE(4), bytes.readUInt32BE(772), bytes.readUInt32BE(776)];
  const needed = offset + 4 * width * height;
  const faults: string[] = [];
  const expect = (what: string, found: number, wanted: number): void => {
    if (found !== wanted) faults.push(`${what} ${found}, not ${wanted}`);
  };
  expect('bytes of the picture from', offset, HEADER);
  expect('bytes', bytes.length, needed);
  expect('bytes by its header', bytes.readUInt32BE(16), bytes.length);
  expect('descriptor', bytes.readUInt8(800), 50);
  expect('bits', bytes.readUInt8(803), 10);
  expect('packing', bytes.readUInt16BE(804), 1);
  expect('encoding', bytes.readUInt16BE(806), 0);
  expect('elements', bytes.readUInt16BE(770), 1);
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
        bytes.readUInt8(800) === 50 && bytes.readUInt8(803) === 10 && bytes.readUInt16BE(804) === 1
          ? 'RGB, 10 bits, filled to words'
          : 'others',
      compression: bytes.readUInt16BE(806) === 0 ? 'none' : 'some',
      // Image orientation, table 2 of ST 268-1: 0 is from the left to the right and from the top down.
      lineOrder: bytes.readUInt16BE(768) === 0 ? 'increasing-y' : `orientation ${bytes.readUInt16BE(768)}`,
      colours,
      neutral: null,
      pixelAspect: aspect.includes(UNDEFINED) ? '1/1' : `${aspect[0]}/${aspect[1]}`,
      rate: rate === null ? null : formatRatio(rate),
      timecode: time === UNDEFINED ? null : labelOf(time, bytes.readUInt32BE(1924), base),
      reel: null,
      owner: null,
      comments: null,
      captured: null,
      iso: null,
      exposure: null,
      source: text(bytes, 36, 100),
    },
    codesAt(x, y) {
      const word = bytes.readUInt32BE(offset + 4 * (y * width + x));
      return [word >>> 22, (word >>> 12) & 1023, (word >>> 2) & 1023];
    },
  };
}
