/**
 * DWA chunks as values, of the checker alone (the form as OpenEXR's ImfDwaCompressor.cpp and dwaLookups.cpp read it, version 2): R, G, B of halves, which are
 * Y'CbCr of a curve, by blocks of 8 x 8. In double precision: what a reader in single precision gets differs in the last place of a half here and there.
 */
import type { Channel } from './attributes.ts';
import { ExrDamage, ExrForeign } from './damage.ts';
import { fromHalf, isNotFinite, LARGEST_HALF, toHalf } from './half.ts';
import { symbolsOf } from './piz.ts';
import { fromPredicted, fromZlib } from './zlib.ts';

const SIDE = 8;
const BLOCK = SIDE * SIDE;
/** Numbers of 64 bits in front. */
const NUMBERS = [
  ...['version', 'rest', 'restPacked', 'ac', 'dc', 'rle', 'rleRuns', 'rleRaw', 'acWords', 'dcWords', 'acWay'],
];
/** Zeros up to the end of a block, and the first of the words for so many of them. */
const TO_THE_END = 0xff00;

/** Amplitude of frequency u at pixel x of an orthonormal transform (ITU-T T.81, A.3.3). */
const amplitude = Float64Array.from({ length: BLOCK }, (_, at) => {
  const [u, x] = [at >> 3, at & 7];
  return u === 0 ? Math.sqrt(1 / 8) : Math.cos(((2 * x + 1) * u * Math.PI) / 16) / 2;
});

/** Places in lines, diagonal by diagonal, in turn upwards and downwards (T.81, figure A.6). */
const order = Uint8Array.from(
  Array.from({ length: BLOCK }, (_, place) => place).sort((one, other) => {
    const [a, b] = [(one >> 3) + (one & 7), (other >> 3) + (other & 7)];
    if (a !== b) return a - b;
    return a % 2 === 0 ? (one & 7) - (other & 7) : (one >> 3) - (other >> 3);
  }),
);

let linear: Uint16Array | null = null;
/** By the bits of a half on the curve: up to 1 the power of 2.2, above it exp(2.2 (v - 1)); beyond the largest half infinite, as other readers have it. */
function linearTable(): Uint16Array {
  linear ??= Uint16Array.from({ length: 0x1_0000 }, (_, bits) => {
    if (isNotFinite(bits)) return 0;
    const value = Math.abs(fromHalf(bits));
    const size = value <= 1 ? value ** 2.2 : Math.exp(2.2 * (value - 1));
    const sign = bits & 0x8000;
    return sign | (size >= LARGEST_HALF + 16 ? 0x7c00 : toHalf(size));
  });
  return linear;
}

const single = new Float32Array(1);
const singleBits = new Uint32Array(single.buffer);
/** Bits of the half nearest to a value that is no larger than the largest; quicker than `toHalf`. */
function nearestHalf(value: number): number {
  single[0] = value;
  const bits = singleBits[0] as number;
  const sign = (bits >>> 16) & 0x8000;
  const size = bits & 0x7fff_ffff;
  // Below 2^-14 halves are whole numbers of 2^-24.
  if (size < 0x3880_0000) return toHalf(value);
  const up = 0xfff + ((size >>> 13) & 1);
  return sign | Math.min(0x7bff, (size - 0x3800_0000 + up) >>> 13);
}

/** Which channel is which of a set: by the rules in the chunk, each a name, how, and of which kind of value. */
function setOf(rules: Uint8Array, channels: readonly Channel[]): [number, number, number] {
  const found: number[] = [-1, -1, -1];
  let at = 0;
  while (at < rules.length) {
    const end = rules.indexOf(0, at);
    if (end < 0 || end + 3 > rules.length) throw new ExrDamage('rules of channels that do not end');
    const name = Buffer.from(rules.subarray(at, end)).toString('latin1');
    const [way, kind] = [rules[end + 1] as number, rules[end + 2] as number];
    const place = (way >> 4) - 1;
    const channel = channels.findIndex((one) => one.name === name);
    // By blocks, case matters, halves.
    if ((way & 15) !== 4 || kind !== 1) throw new ExrForeign(`DWA with channel ${name} in another way`);
    if (place < 0 || place > 2 || channel < 0 || found[place] !== -1)
      throw new ExrDamage(`a rule for channel ${JSON.stringify(name)} at place ${place}`);
    found[place] = channel;
    at = end + 3;
  }
  if (found.includes(-1) || channels.length !== 3 || channels.some(({ kind }) => kind !== 'half'))
    throw new ExrForeign('DWA of other channels than three of halves');
  return found as [number, number, number];
}

/** Coefficients of the next block into `block`, and where the words after it begin. Throws ExrDamage. */
function blockAt(words: Uint16Array, from: number, first: number, block: Float64Array): number {
  block.fill(0);
  block[0] = coefficient(first);
  let at = from;
  for (let place = 1; place < BLOCK; at += 1) {
    const word = words[at];
    if (word === undefined) throw new ExrDamage('blocks that end too early');
    if (word === TO_THE_END) place = BLOCK;
    else if (word > TO_THE_END) {
      place += word - TO_THE_END;
      if (place > BLOCK) throw new ExrDamage('zeros beyond the end of a block');
    } else {
      block[order[place] as number] = coefficient(word);
      place += 1;
    }
  }
  return at;
}

function coefficient(word: number): number {
  if (isNotFinite(word)) throw new ExrDamage('a coefficient that is infinite or no number');
  return fromHalf(word);
}

const rows = new Float64Array(BLOCK);
/** Coefficients to pixels, in place. */
function back(block: Float64Array): void {
  rows.fill(0);
  for (let at = 0; at < BLOCK; at += 1) {
    const value = block[at] as number;
    if (value === 0) continue;
    const [line, u] = [at & 56, (at & 7) << 3];
    for (let x = 0; x < SIDE; x += 1)
      rows[line + x] = (rows[line + x] as number) + value * (amplitude[u + x] as number);
  }
  block.fill(0);
  for (let v = 0; v < SIDE; v += 1)
    for (let x = 0; x < SIDE; x += 1) {
      const value = rows[8 * v + x] as number;
      if (value === 0) continue;
      for (let y = 0; y < SIDE; y += 1)
        block[8 * y + x] = (block[8 * y + x] as number) + value * (amplitude[8 * v + y] as number);
    }
}

/** Gives the lines, each with its channels one behind the other. Throws ExrDamage and ExrForeign. */
export function fromDwa(
  data: Uint8Array,
  {
    channels,
    width,
    lines,
  }: { readonly channels: readonly Channel[]; readonly width: number; readonly lines: number },
): Uint8Array {
  const head = 8 * NUMBERS.length;
  if (data.length < head + 2) throw new ExrDamage('no head');
  const view = new DataView(data.buffer, data.byteOffset, data.length);
  const numbers = new Map(NUMBERS.map((name, at) => [name, view.getBigUint64(8 * at, true)]));
  const number = (name: string): number => Number(numbers.get(name));
  if (number('version') !== 2 || number('acWay') !== 0)
    throw new ExrForeign(`DWA of version ${number('version')}, way ${number('acWay')}`);
  for (const name of ['rest', 'restPacked', 'rle', 'rleRuns', 'rleRaw'])
    if (number(name) !== 0) throw new ExrForeign('DWA with channels without loss');
  const across = Math.ceil(width / SIDE);
  const down = Math.ceil(lines / SIDE);
  const blocks = across * down;
  const rules = view.getUint16(head, true);
  const acAt = head + rules;
  const dcAt = acAt + number('ac');
  if (rules < 2 || dcAt + number('dc') !== data.length)
    throw new ExrDamage(`parts of ${dcAt + number('dc')} bytes in ${data.length}`);
  if (number('dcWords') !== 3 * blocks || number('acWords') > 3 * (BLOCK - 1) * blocks)
    throw new ExrDamage(`${number('dcWords')} and ${number('acWords')} words for ${blocks} blocks`);
  const set = setOf(data.subarray(head + 2, acAt), channels);
  const words = symbolsOf(data.subarray(acAt, dcAt), number('acWords'));
  const firsts = fromPredicted(fromZlib(data.subarray(dcAt), 6 * blocks));
  const firstAt = (at: number): number => (firsts[2 * at] as number) | ((firsts[2 * at + 1] as number) << 8);
  const table = linearTable();
  const out = new Uint16Array(3 * width * lines);
  const [light, blue, red] = [new Float64Array(BLOCK), new Float64Array(BLOCK), new Float64Array(BLOCK)];
  let at = 0;
  for (let block = 0; block < blocks; block += 1) {
    for (const [place, one] of [light, blue, red].entries()) {
      at = blockAt(words, at, firstAt(place * blocks + block), one);
      back(one);
    }
    const left = (block % across) * SIDE;
    const top = Math.floor(block / across) * SIDE;
    for (let y = top; y < Math.min(top + SIDE, lines); y += 1)
      for (let x = left; x < Math.min(left + SIDE, width); x += 1) {
        const pixel = (y - top) * SIDE + x - left;
        const [l, cb, cr] = [light[pixel] as number, blue[pixel] as number, red[pixel] as number];
        const line = 3 * width * y + x;
        out[line + width * set[0]] = table[nearestHalf(l + 1.5747 * cr)] as number;
        out[line + width * set[1]] = table[nearestHalf(l - 0.1873 * cb - 0.4682 * cr)] as number;
        out[line + width * set[2]] = table[nearestHalf(l + 1.8556 * cb)] as number;
      }
  }
  if (at !== words.length) throw new ExrDamage(`${words.length - at} words behind the last block`);
  return new Uint8Array(out.buffer);
}
