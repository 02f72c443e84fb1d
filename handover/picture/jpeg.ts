/**
 * Writes JPEG (ITU-T T.81, baseline, in the form of JFIF, ITU-T T.871): Y'CbCr of BT.601 in full range, chroma half as wide and
 * half as high, the Huffman tables of Annex K. Of our own, so that the same pictures give the same bytes on every machine, and
 * no program is started for a thumbnail.
 */
import type { Picture } from './picture.ts';

/** Table K.1 and Table K.2, line by line. */
const LUMA = [
  16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22,
  29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103,
  121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
] as const;
const CHROMA = [
  17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99,
  99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99,
  99, 99, 99, 99, 99, 99, 99, 99, 99, 99,
] as const;

/** Figure A.6: where in a block, line by line, each coefficient in turn lies. */
const ZIGZAG = [
  0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5, 12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7,
  14, 21, 28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46,
  53, 60, 61, 54, 47, 55, 62, 63,
] as const;

interface Table {
  /** How many codes there are of each length, from 1 bit to 16. */
  readonly lengths: readonly number[];
  readonly values: readonly number[];
}

const DC_VALUES = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11] as const;
/** Tables K.3 to K.6. */
const DC_LUMA: Table = { lengths: [0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0], values: DC_VALUES };
const DC_CHROMA: Table = { lengths: [0, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0], values: DC_VALUES };
const fromHex = (text: string): number[] => [...Buffer.from(text.replaceAll(/\s/g, ''), 'hex')];
const AC_LUMA: Table = {
  lengths: [0, 2, 1, 3, 3, 2, 4, 3, 5, 5, 4, 4, 0, 0, 1, 0x7d],
  values: fromHex(`
    01020300041105122131410613516107227114328191a1082342b1c11552d1f02433627282090a161718191a25262728292a3435363738393a
    434445464748494a535455565758595a636465666768696a737475767778797a838485868788898a92939495969798999aa2a3a4a5a6a7a8a9
    aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae1e2e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9fa`),
};
const AC_CHROMA: Table = {
  lengths: [0, 2, 1, 2, 4, 4, 3, 4, 7, 5, 4, 4, 0, 1, 2, 0x77],
  values: fromHex(`
    0001020311040521310612415107617113223281081442 91a1b1c109233352f0156272d10a162434e125f11718191a262728292a3536373839
    3a434445464748494a535455565758595a636465666768696a737475767778797a82838485868788898a92939495969798999aa2a3a4a5a6a7
    a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae2e3e4e5e6e7e8e9eaf2f3f4f5f6f7f8f9fa`),
};

/** Code and its length by value (Annex C). */
type Codes = readonly (readonly [code: number, bits: number] | undefined)[];
function codesOf({ lengths, values }: Table): Codes {
  const codes: [number, number][] = [];
  let code = 0;
  let at = 0;
  for (const [index, count] of lengths.entries()) {
    for (let one = 0; one < count; one += 1) codes[values[at++] as number] = [code++, index + 1];
    code <<= 1;
  }
  return codes;
}
const codes = {
  luma: { dc: codesOf(DC_LUMA), ac: codesOf(AC_LUMA) },
  chroma: { dc: codesOf(DC_CHROMA), ac: codesOf(AC_CHROMA) },
};

/** The customary scale of the tables of Annex K by a quality from 1 to 100 (common practice, no part of the standard). */
function scaled(table: readonly number[], quality: number): number[] {
  const percent = quality < 50 ? 5000 / quality : 200 - 2 * quality;
  return table.map((step) => Math.min(255, Math.max(1, Math.floor((step * percent + 50) / 100))));
}

/** A.3.3, a row or column at a time: COSINES[8 * u + x] = C(u) / 2 cos((2x + 1) u pi / 16). */
const COSINES = Float64Array.from(
  { length: 64 },
  (_, at) => ((at < 8 ? Math.SQRT1_2 : 1) / 2) * Math.cos(((2 * (at & 7) + 1) * (at >> 3) * Math.PI) / 16),
);

class Bits {
  #bytes = Buffer.alloc(1 << 16);
  #length = 0;
  #held = 0;
  #count = 0;

  /** `value`: not negative, below 2 to the power of `bits`, which are at most 16. */
  put(value: number, bits: number): void {
    // At most 7 that are held and 16 that come.
    this.#held = (this.#held << bits) | value;
    this.#count += bits;
    while (this.#count >= 8) {
      this.#count -= 8;
      const byte = (this.#held >> this.#count) & 0xff;
      this.#byte(byte);
      // A marker begins so (B.1.1.5).
      if (byte === 0xff) this.#byte(0);
    }
    this.#held &= (1 << this.#count) - 1;
  }

  #byte(value: number): void {
    if (this.#length === this.#bytes.length)
      this.#bytes = Buffer.concat([this.#bytes, Buffer.alloc(this.#length)]);
    this.#bytes[this.#length++] = value;
  }

  /** The last byte is filled with ones. */
  end(): Buffer {
    if (this.#count > 0) this.put((1 << (8 - this.#count)) - 1, 8 - this.#count);
    return this.#bytes.subarray(0, this.#length);
  }
}

interface Plane {
  /** Samples of whole blocks, line by line, 0 to 255 less 128. */
  readonly samples: Float32Array;
  readonly stride: number;
}

/** Y', Cb, Cr; what lies beyond the picture repeats its edge. */
function planesOf({ width, height, samples }: Picture): readonly [Plane, Plane, Plane] {
  const [wide, tall] = [16 * Math.ceil(width / 16), 16 * Math.ceil(height / 16)];
  const luma = new Float32Array(wide * tall);
  const blue = new Float32Array((wide * tall) / 4);
  const red = new Float32Array((wide * tall) / 4);
  for (let y = 0; y < tall; y += 1)
    for (let x = 0; x < wide; x += 1) {
      const at = 3 * (Math.min(y, height - 1) * width + Math.min(x, width - 1));
      const [r, g, b] = [samples[at], samples[at + 1], samples[at + 2]] as [number, number, number];
      luma[y * wide + x] = 0.299 * r + 0.587 * g + 0.114 * b - 128;
      const quarter = (y >> 1) * (wide / 2) + (x >> 1);
      blue[quarter] = (blue[quarter] as number) + (-0.168736 * r - 0.331264 * g + 0.5 * b) / 4;
      red[quarter] = (red[quarter] as number) + (0.5 * r - 0.418688 * g - 0.081312 * b) / 4;
    }
  return [
    { samples: luma, stride: wide },
    { samples: blue, stride: wide / 2 },
    { samples: red, stride: wide / 2 },
  ];
}

const rows = new Float64Array(64);
const block = new Int32Array(64);

/** Into `block`: what is left of a block's coefficients, in zigzag order. */
function transformed({ samples, stride }: Plane, left: number, top: number, steps: readonly number[]): void {
  for (let y = 0; y < 8; y += 1)
    for (let u = 0; u < 8; u += 1) {
      let sum = 0;
      for (let x = 0; x < 8; x += 1)
        sum += (COSINES[8 * u + x] as number) * (samples[(top + y) * stride + left + x] as number);
      rows[8 * y + u] = sum;
    }
  for (let order = 0; order < 64; order += 1) {
    const place = ZIGZAG[order] as number;
    const [v, u] = [place >> 3, place & 7];
    let sum = 0;
    for (let y = 0; y < 8; y += 1) sum += (COSINES[8 * v + y] as number) * (rows[8 * y + u] as number);
    block[order] = Math.round(sum / (steps[place] as number));
  }
}

const sizeOf = (value: number): number => 32 - Math.clz32(Math.abs(value));

function putValue(bits: Bits, value: number): void {
  const size = sizeOf(value);
  // F.1.2.1: of a negative one its ones' complement.
  bits.put(value < 0 ? value + 2 ** size - 1 : value, size);
}

function putCode(bits: Bits, table: Codes, value: number): void {
  const code = table[value];
  if (code === undefined) throw new RangeError(`no code of ${value}`);
  bits.put(code[0], code[1]);
}

/** Writes `block`; gives its first coefficient, from which that of the next block is counted. */
function putBlock(
  bits: Bits,
  { dc, ac }: { readonly dc: Codes; readonly ac: Codes },
  before: number,
): number {
  const first = block[0] as number;
  putCode(bits, dc, sizeOf(first - before));
  putValue(bits, first - before);
  let zeros = 0;
  for (let order = 1; order < 64; order += 1) {
    const value = block[order] as number;
    if (value === 0) {
      zeros += 1;
      continue;
    }
    for (; zeros > 15; zeros -= 16) putCode(bits, ac, 0xf0);
    putCode(bits, ac, (zeros << 4) | sizeOf(value));
    putValue(bits, value);
    zeros = 0;
  }
  if (zeros > 0) putCode(bits, ac, 0);
  return first;
}

function segment(marker: number, ...bytes: readonly number[]): Buffer {
  return Buffer.from([0xff, marker, (bytes.length + 2) >> 8, (bytes.length + 2) & 0xff, ...bytes]);
}

const inZigzag = (steps: readonly number[]): number[] => ZIGZAG.map((place) => steps[place] as number);

/** Most pixels a side (B.2.2). */
const LONGEST = 65_535;

/** `quality`: 1 to 100. `comment`: what the file says of itself, in ASCII; '': nothing. */
export function jpegOf(picture: Picture, quality: number, comment = ''): Buffer {
  const { width, height } = picture;
  if (width < 1 || height < 1 || width > LONGEST || height > LONGEST)
    throw new RangeError(`${width}x${height} pixels`);
  const steps = { luma: scaled(LUMA, quality), chroma: scaled(CHROMA, quality) };
  const [luma, blue, red] = planesOf(picture);
  const bits = new Bits();
  const before = [0, 0, 0] as [number, number, number];
  for (let top = 0; top < height; top += 16)
    for (let left = 0; left < width; left += 16) {
      for (const [y, x] of [
        [0, 0],
        [0, 8],
        [8, 0],
        [8, 8],
      ] as const) {
        transformed(luma, left + x, top + y, steps.luma);
        before[0] = putBlock(bits, codes.luma, before[0]);
      }
      transformed(blue, left / 2, top / 2, steps.chroma);
      before[1] = putBlock(bits, codes.chroma, before[1]);
      transformed(red, left / 2, top / 2, steps.chroma);
      before[2] = putBlock(bits, codes.chroma, before[2]);
    }
  const table = (kind: number, { lengths, values }: Table): number[] => [kind, ...lengths, ...values];
  return Buffer.concat([
    Buffer.from([0xff, 0xd8]),
    // JFIF 1.2, square pixels, no thumbnail of its own.
    segment(0xe0, 0x4a, 0x46, 0x49, 0x46, 0, 1, 2, 0, 0, 1, 0, 1, 0, 0),
    ...(comment === '' ? [] : [segment(0xfe, ...Buffer.from(comment, 'ascii'))]),
    segment(0xdb, 0, ...inZigzag(steps.luma), 1, ...inZigzag(steps.chroma)),
    segment(
      0xc0,
      8,
      height >> 8,
      height & 0xff,
      width >> 8,
      width & 0xff,
      3,
      1,
      0x22,
      0,
      2,
      0x11,
      1,
      3,
      0x11,
      1,
    ),
    segment(
      0xc4,
      ...table(0x00, DC_LUMA),
      ...table(0x10, AC_LUMA),
      ...table(0x01, DC_CHROMA),
      ...table(0x11, AC_CHROMA),
    ),
    segment(0xda, 3, 1, 0x00, 2, 0x11, 3, 0x11, 0, 63, 0),
    bits.end(),
    Buffer.from([0xff, 0xd9]),
  ]);
}
