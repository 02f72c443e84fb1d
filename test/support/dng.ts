/**
 * Writes DNG files for tests and benches: any byte order, packing, strips or tiles, with or without lossless JPEG, the main picture
 * first or below a preview (TIFF 6.0; DNG specification). It knows nothing of the reader.
 */
import { type JpegOptions, encodeLossless } from './dng-jpeg.ts';

const SIZES = { byte: 1, ascii: 1, short: 2, long: 4, rational: 8, undefined: 1, srational: 8 } as const;
const NUMBERS = { byte: 1, ascii: 2, short: 3, long: 4, rational: 5, undefined: 7, srational: 10 } as const;

/** Values of rationals are pairs flattened: numerator, denominator, … */
export interface DngTag {
  readonly tag: number;
  readonly type: keyof typeof SIZES;
  readonly values: readonly number[];
}

export interface DngOptions {
  readonly width: number;
  readonly height: number;
  /** Row by row. */
  readonly samples: Uint16Array;
  /** LinearRaw: `samples` hold red, green and blue of every pixel beside each other. */
  readonly linearRaw?: boolean;
  /** In place of `samples`: floating point of `bits` 16, 24 or 32. */
  readonly floats?: Float32Array;
  /** BitsPerSample; 16 by default. */
  readonly bits?: number;
  readonly littleEndian?: boolean;
  /** 16 bits for every sample although `bits` says fewer. */
  readonly words?: boolean;
  readonly lowBitFirst?: boolean;
  /** Rows of a strip, or the size of a tile; one strip by default. */
  readonly rowsPerStrip?: number;
  readonly tile?: { readonly width: number; readonly height: number };
  /** Present: lossless JPEG. */
  readonly jpeg?: JpegOptions;
  /** True: IFD0 is a preview, and the main picture lies in a SubIFD. */
  readonly below?: boolean;
  readonly pattern?: 'rggb' | 'grbg' | 'gbrg' | 'bggr';
  /** BCD bytes come from the label; `;` sets the drop-frame bit. */
  readonly timecode?: string;
  readonly rate?: readonly [number, number];
  /** Beside, or instead of, the usual ones; a tag of no values takes the usual one away. */
  readonly tags?: readonly DngTag[];
  /** In an EXIF directory of their own. */
  readonly exif?: readonly DngTag[];
}

export const ascii = (tag: number, text: string): DngTag => ({
  tag,
  type: 'ascii',
  values: [...Buffer.from(`${text}\0`)],
});
/** To six digits. */
export const srationals = (tag: number, values: readonly number[]): DngTag => ({
  tag,
  type: 'srational',
  values: values.flatMap((value) => [Math.round(value * 1e6), 1_000_000]),
});
export const rationals = (tag: number, values: readonly number[]): DngTag => ({
  ...srationals(tag, values),
  type: 'rational',
});

/** The matrices of a camera that does not exist. */
export const COLOUR_MATRIX_A = [0.9, -0.3, -0.05, -0.45, 1.25, 0.2, -0.1, 0.25, 0.6];
export const COLOUR_MATRIX_D65 = [0.8, -0.25, -0.08, -0.4, 1.2, 0.22, -0.05, 0.2, 0.65];

/** A number as bits of so many: sign, exponent, fraction, rounded to the nearest; it must lie in the normal range, or be 0. */
function floatBits(value: number, size: 16 | 24 | 32): number {
  const [exponents, fractions] = { 16: [5, 10], 24: [7, 16], 32: [8, 23] }[size] as [number, number];
  if (value === 0) return 0;
  const bias = 2 ** (exponents - 1) - 1;
  let exponent = Math.floor(Math.log2(Math.abs(value)));
  let fraction = Math.round((Math.abs(value) / 2 ** exponent - 1) * 2 ** fractions);
  if (fraction === 2 ** fractions) [exponent, fraction] = [exponent + 1, 0];
  if (exponent + bias < 1 || exponent + bias > 2 ** exponents - 2) throw new RangeError(`${value}`);
  return (value < 0 ? 2 ** (size - 1) : 0) + (exponent + bias) * 2 ** fractions + fraction;
}

function packedFloats(values: Float32Array, size: 16 | 24 | 32, little: boolean): Buffer {
  const bytes = size / 8;
  const out = Buffer.alloc(values.length * bytes);
  for (const [index, value] of values.entries())
    little
      ? out.writeUIntLE(floatBits(value, size), index * bytes, bytes)
      : out.writeUIntBE(floatBits(value, size), index * bytes, bytes);
  return out;
}

function packed(
  samples: Uint16Array,
  width: number,
  height: number,
  bits: number,
  options: DngOptions,
): Buffer {
  if (bits === 16 || options.words === true) {
    const out = Buffer.alloc(width * height * 2);
    for (const [index, sample] of samples.entries())
      options.littleEndian === false
        ? out.writeUInt16BE(sample, index * 2)
        : out.writeUInt16LE(sample, index * 2);
    return out;
  }
  const rowBytes = Math.ceil((width * bits) / 8);
  const out = Buffer.alloc(rowBytes * height);
  for (let row = 0; row < height; row += 1) {
    for (let column = 0; column < width; column += 1) {
      const sample = samples[row * width + column] as number;
      for (let bit = 0; bit < bits; bit += 1) {
        if (((sample >> (bits - 1 - bit)) & 1) === 0) continue;
        const at = column * bits + bit;
        const byte = row * rowBytes + (at >> 3);
        out[byte] = (out[byte] as number) | (options.lowBitFirst === true ? 1 << (at & 7) : 128 >> (at & 7));
      }
    }
  }
  return out;
}

/** Strips, or whole tiles whose padding repeats the last column and row. */
function pieces(options: DngOptions): Buffer[] {
  const { width, height, bits = 16 } = options;
  const samples = options.floats ?? options.samples;
  const each = options.linearRaw === true ? 3 : 1;
  const pieceWidth = options.tile?.width ?? width;
  const pieceHeight = options.tile?.height ?? options.rowsPerStrip ?? height;
  const out: Buffer[] = [];
  for (let top = 0; top < height; top += pieceHeight) {
    const rows = options.tile === undefined ? Math.min(pieceHeight, height - top) : pieceHeight;
    for (let left = 0; left < width; left += pieceWidth) {
      const count = pieceWidth * rows * each;
      const piece = samples instanceof Float32Array ? new Float32Array(count) : new Uint16Array(count);
      for (let row = 0; row < rows; row += 1) {
        for (let column = 0; column < pieceWidth * each; column += 1)
          piece[row * pieceWidth * each + column] = samples[
            (Math.min(top + row, height - 1) * width +
              Math.min(left + Math.floor(column / each), width - 1)) *
              each +
              (column % each)
          ] as number;
      }
      if (piece instanceof Float32Array)
        out.push(packedFloats(piece, bits as 16 | 24 | 32, options.littleEndian !== false));
      else
        out.push(
          options.jpeg === undefined
            ? packed(piece, pieceWidth * each, rows, bits, options)
            : encodeLossless(piece, pieceWidth * each, rows, bits, options.jpeg),
        );
    }
  }
  return out;
}

function timecodeBytes(label: string): number[] {
  const parts = /^(\d\d):(\d\d):(\d\d)([:;])(\d\d)$/.exec(label);
  if (parts === null) throw new RangeError(label);
  const bcd = (text: string | undefined): number => Number.parseInt(text ?? '', 16);
  return [
    bcd(parts[5]) | (parts[4] === ';' ? 0x40 : 0),
    bcd(parts[3]),
    bcd(parts[2]),
    bcd(parts[1]),
    0,
    0,
    0,
    0,
  ];
}

export function buildDng(options: DngOptions): Buffer {
  const { width, height, bits = 16, pattern = 'rggb' } = options;
  const little = options.littleEndian !== false;
  const u16 = (buffer: Buffer, value: number, at: number): number =>
    little ? buffer.writeUInt16LE(value, at) : buffer.writeUInt16BE(value, at);
  const u32 = (buffer: Buffer, value: number, at: number): number =>
    little ? buffer.writeUInt32LE(value >>> 0, at) : buffer.writeUInt32BE(value >>> 0, at);

  const parts: Buffer[] = [Buffer.alloc(8)];
  let end = 8;
  /** At a whole word, as TIFF 6.0 asks. */
  const append = (bytes: Buffer): number => {
    const at = end;
    const filled = bytes.length % 2 === 0 ? bytes : Buffer.concat([bytes, Buffer.alloc(1)]);
    parts.push(filled);
    end += filled.length;
    return at;
  };
  const directory = (tags: readonly DngTag[]): number => {
    const present = tags.filter((tag) => tag.values.length > 0).sort((one, other) => one.tag - other.tag);
    const bytes = Buffer.alloc(2 + present.length * 12 + 4);
    u16(bytes, present.length, 0);
    for (const [index, { tag, type, values }] of present.entries()) {
      const size = SIZES[type];
      const data = Buffer.alloc(
        Math.max(4, type.endsWith('rational') ? values.length * 4 : values.length * size),
      );
      for (const [at, value] of values.entries()) {
        if (size === 1) data[at] = value;
        else if (size === 2) u16(data, value, at * 2);
        else u32(data, value, at * 4);
      }
      const entry = 2 + index * 12;
      u16(bytes, tag, entry);
      u16(bytes, NUMBERS[type], entry + 2);
      u32(bytes, type.endsWith('rational') ? values.length / 2 : values.length, entry + 4);
      if (data.length <= 4) data.copy(bytes, entry + 8);
      else u32(bytes, append(data), entry + 8);
    }
    return append(bytes);
  };
  /** The later ones take the place of the earlier. */
  const merged = (...lists: readonly (readonly DngTag[])[]): DngTag[] => [
    ...new Map(lists.flat().map((tag) => [tag.tag, tag])).values(),
  ];

  const data = pieces(options);
  const offsets = data.map(append);
  const main: DngTag[] = [
    { tag: 254, type: 'long', values: [0] },
    { tag: 256, type: 'long', values: [width] },
    { tag: 257, type: 'long', values: [height] },
    { tag: 258, type: 'short', values: options.linearRaw === true ? [bits, bits, bits] : [bits] },
    { tag: 259, type: 'short', values: [options.jpeg === undefined ? 1 : 7] },
    { tag: 262, type: 'short', values: [options.linearRaw === true ? 34_892 : 32_803] },
    { tag: 277, type: 'short', values: [options.linearRaw === true ? 3 : 1] },
    ...(options.floats === undefined ? [] : [{ tag: 339, type: 'short', values: [3, 3, 3] } as const]),
    { tag: 284, type: 'short', values: [1] },
    ...(options.lowBitFirst === true ? [{ tag: 266, type: 'short', values: [2] } as const] : []),
    ...(options.tile === undefined
      ? ([
          { tag: 273, type: 'long', values: offsets },
          { tag: 278, type: 'long', values: [options.rowsPerStrip ?? height] },
          { tag: 279, type: 'long', values: data.map((piece) => piece.length) },
        ] as const)
      : ([
          { tag: 322, type: 'long', values: [options.tile.width] },
          { tag: 323, type: 'long', values: [options.tile.height] },
          { tag: 324, type: 'long', values: offsets },
          { tag: 325, type: 'long', values: data.map((piece) => piece.length) },
        ] as const)),
    ...(options.linearRaw === true
      ? []
      : ([
          { tag: 33_421, type: 'short', values: [2, 2] },
          { tag: 33_422, type: 'byte', values: [...pattern].map((letter) => 'rgb'.indexOf(letter)) },
        ] as const)),
  ];
  const about: DngTag[] = [
    ascii(271, 'Bell Foundry'),
    ascii(272, 'Test Pattern One'),
    { tag: 274, type: 'short', values: [1] },
    { tag: 50_706, type: 'byte', values: [1, 4, 0, 0] },
    { tag: 50_707, type: 'byte', values: [1, 1, 0, 0] },
    ascii(50_708, 'Bell Foundry Test Pattern One'),
    srationals(50_721, COLOUR_MATRIX_A),
    srationals(50_722, COLOUR_MATRIX_D65),
    rationals(50_728, [0.45, 1, 0.6]),
    { tag: 50_778, type: 'short', values: [17] },
    { tag: 50_779, type: 'short', values: [21] },
    ...(options.timecode === undefined
      ? []
      : [{ tag: 51_043, type: 'byte', values: timecodeBytes(options.timecode) } as const]),
    ...(options.rate === undefined
      ? []
      : [{ tag: 51_044, type: 'srational', values: options.rate } as const]),
  ];
  const extra = [
    ...(options.tags ?? []),
    ...(options.exif === undefined
      ? []
      : [{ tag: 34_665, type: 'long', values: [directory(options.exif)] } as const]),
  ];
  /** Tags of the raw picture's own directory; the others describe the whole file. */
  const ofPicture = (tag: DngTag): boolean =>
    tag.tag < 271 ||
    (tag.tag > 272 && tag.tag < 306 && tag.tag !== 274) ||
    (tag.tag > 306 && tag.tag < 33_423 && tag.tag !== 330) ||
    (tag.tag >= 50_710 && tag.tag <= 50_720) ||
    tag.tag === 50_733 ||
    tag.tag === 50_829 ||
    tag.tag === 50_830 ||
    (tag.tag >= 50_974 && tag.tag <= 50_975) ||
    [51_008, 51_009, 51_022].includes(tag.tag);
  let first: number;
  if (options.below === true) {
    const raw = directory(merged(main, extra.filter(ofPicture)));
    const preview = append(Buffer.alloc(8 * 4 * 3, 128));
    const small: DngTag[] = [
      { tag: 254, type: 'long', values: [1] },
      { tag: 256, type: 'long', values: [8] },
      { tag: 257, type: 'long', values: [4] },
      { tag: 258, type: 'short', values: [8, 8, 8] },
      { tag: 259, type: 'short', values: [1] },
      { tag: 262, type: 'short', values: [2] },
      { tag: 273, type: 'long', values: [preview] },
      { tag: 277, type: 'short', values: [3] },
      { tag: 278, type: 'long', values: [4] },
      { tag: 279, type: 'long', values: [96] },
      { tag: 330, type: 'long', values: [raw] },
    ];
    first = directory(
      merged(
        small,
        about,
        extra.filter((tag) => !ofPicture(tag)),
      ),
    );
  } else first = directory(merged(main, about, extra));
  const file = Buffer.concat(parts);
  file.write(little ? 'II' : 'MM', 'latin1');
  u16(file, 42, 2);
  u32(file, first, 4);
  return file;
}

/** A picture of slopes and grain that fills the range; the same for the same size. */
export function testSamples(width: number, height: number, bits: number, seed = 1): Uint16Array {
  const samples = new Uint16Array(width * height);
  const most = 2 ** bits - 1;
  let state = seed >>> 0 || 1;
  for (let index = 0; index < samples.length; index += 1) {
    // xorshift32
    state ^= state << 13;
    state >>>= 0;
    state ^= state >>> 17;
    state ^= state << 5;
    state >>>= 0;
    const slope = ((index % width) / width + Math.floor(index / width) / height) / 2;
    const grain = ((state & 0xff) / 255 - 0.5) * 0.03;
    samples[index] = Math.max(0, Math.min(most, Math.round((slope + grain) * most)));
  }
  return samples;
}
