/** Damage drawn at random: what cards, cables, editors and mistakes do to a file, and what a header can claim. */
import type { Random } from '../faults/random.ts';

/** Most bytes that a damaged file may grow to: what is looked for is what a small file can do. */
const MOST_BYTES = 1024 * 1024;

/** Where headers are likelier: half of the time within the first KiB. */
function placeIn(bytes: Buffer, random: Random): number {
  if (bytes.length === 0) return 0;
  const kind = random.below(8);
  if (kind < 4) return random.below(Math.min(bytes.length, 1024));
  if (kind === 4) return Math.max(0, bytes.length - 1 - random.below(Math.min(bytes.length, 512)));
  return random.below(bytes.length);
}

function rangeIn(bytes: Buffer, random: Random): [from: number, to: number] {
  const from = placeIn(bytes, random);
  return [from, Math.min(bytes.length, from + random.between(1, 2 ** random.between(0, 12)))];
}

/** Numbers at which lengths, counts and offsets break. */
function extreme(bytes: Buffer, random: Random): bigint {
  const size = BigInt(bytes.length);
  return random.of([
    0n,
    1n,
    2n,
    0x7fn,
    0x80n,
    0xffn,
    0x7fffn,
    0xffffn,
    0x1_0000n,
    0x0fff_ffffn,
    0x1000_0000n,
    0x3fff_ffffn,
    0x7fff_fffen,
    0x7fff_ffffn,
    0x8000_0000n,
    0xffff_fff0n,
    0xffff_ffffn,
    0x1_0000_0000n,
    2n ** 53n - 1n,
    2n ** 53n,
    2n ** 63n - 1n,
    2n ** 64n - 1n,
    size,
    size - 1n,
    size + 1n,
    size / 2n,
    BigInt(random.below(1 + bytes.length)),
  ]);
}

type Change = (bytes: Buffer, other: Buffer, random: Random) => Buffer;

function writeNumber(bytes: Buffer, random: Random): Buffer {
  const out = Buffer.from(bytes);
  const width = random.of([1, 2, 4, 4, 4, 8]);
  let at = placeIn(out, random);
  if (random.below(2) === 0) at -= at % Math.min(4, width);
  if (at + width > out.length) return out;
  const value = BigInt.asUintN(8 * width, extreme(bytes, random));
  const little = random.below(2) === 0;
  for (let index = 0; index < width; index += 1)
    out[at + (little ? index : width - 1 - index)] = Number((value >> BigInt(8 * index)) & 0xffn);
  return out;
}

const binaryChanges: readonly Change[] = [
  (bytes, _other, random) => {
    const out = Buffer.from(bytes);
    for (let left = random.between(1, 8); left > 0 && out.length > 0; left -= 1) {
      const at = placeIn(out, random);
      out[at] = (out[at] as number) ^ (1 << random.below(8));
    }
    return out;
  },
  (bytes, _other, random) => {
    const out = Buffer.from(bytes);
    for (let left = random.between(1, 4); left > 0 && out.length > 0; left -= 1)
      out[placeIn(out, random)] = random.of([0, 1, 0x7f, 0x80, 0xff, random.below(256)]);
    return out;
  },
  (bytes, _other, random) => writeNumber(bytes, random),
  (bytes, _other, random) => writeNumber(bytes, random),
  (bytes, _other, random) => writeNumber(bytes, random),
  // A number next to what it was: one too many, one too few.
  (bytes, _other, random) => {
    const out = Buffer.from(bytes);
    if (out.length === 0) return out;
    const at = placeIn(out, random);
    out[at] = ((out[at] as number) + random.of([1, -1, 2, -2, 16, -16]) + 256) & 0xff;
    return out;
  },
  // Cut anywhere, or a few bytes before the end.
  (bytes, _other, random) =>
    bytes.subarray(0, random.below(2) === 0 ? placeIn(bytes, random) : bytes.length - random.between(0, 16)),
  (bytes, _other, random) => {
    const [from, to] = rangeIn(bytes, random);
    return Buffer.concat([bytes.subarray(0, from), bytes.subarray(to)]);
  },
  (bytes, _other, random) => {
    const [from, to] = rangeIn(bytes, random);
    const part = bytes.subarray(from, to);
    const times = random.of([1, 1, 2, 20, 200]);
    return Buffer.concat([
      bytes.subarray(0, to),
      ...Array.from({ length: times }, () => part),
      bytes.subarray(to),
    ]);
  },
  (bytes, _other, random) => {
    const out = Buffer.from(bytes);
    const [one, oneEnd] = rangeIn(bytes, random);
    const other = placeIn(bytes, random);
    bytes.copy(out, other, one, oneEnd);
    bytes.copy(out, one, other, other + oneEnd - one);
    return out;
  },
  // Within itself: what holds others holds itself.
  (bytes, _other, random) => {
    const [from, to] = rangeIn(bytes, random);
    const inside = from + random.below(Math.max(1, to - from));
    return Buffer.concat([bytes.subarray(0, inside), bytes.subarray(from, to), bytes.subarray(inside)]);
  },
  (bytes, _other, random) => {
    const out = Buffer.from(bytes);
    const [from, to] = rangeIn(bytes, random);
    return out.fill(random.of([0, 0xff, 0x80]), from, to);
  },
  (bytes, other, random) => {
    const at = placeIn(bytes, random);
    const from = random.below(2) === 0 ? Math.min(at, other.length) : placeIn(other, random);
    return Buffer.concat([bytes.subarray(0, at), other.subarray(from)]);
  },
  (bytes, _other, random) =>
    Buffer.concat([bytes, Buffer.alloc(random.between(1, 64), random.of([0, 0xff, 0x20]))]),
];

/** Words that stand for something else than themselves in one language or another. */
const WORDS = [
  '__proto__',
  'constructor',
  'toString',
  'hasOwnProperty',
  '\0',
  '\ufeff',
  '\ud800',
  '\u2028',
  '&amp;',
  '&constructor;',
  '&#x0;',
  '&#1114112;',
  ']]>',
  '<![CDATA[',
  '<!--',
  '<!DOCTYPE a [<!ENTITY b "c">]>',
  '<?xml version="1.0"?>',
  '*a',
  '&a ',
  '<<: *a',
  '!!js/function ',
  '? ',
  '- ',
  ': ',
  '---\n',
  '%YAML 1.1\n',
  '..',
  '../',
  '/',
  '\\',
  '"',
  "'",
  '\t',
  '\r',
  '\n',
  'null',
  'true',
  '[]',
  '{}',
];
const NUMBERS = [
  '0',
  '-0',
  '-1',
  '1',
  '255',
  '256',
  '257',
  '65535',
  '65536',
  '65537',
  '4294967295',
  '4294967296',
  '9007199254740992',
  '99999999999999999999',
  '1e309',
  '-1e309',
  '1e-400',
  '.5',
  '5.',
  '1_000',
  '0x10',
  'NaN',
  'Infinity',
  '.inf',
  '.nan',
];

type TextChange = (text: string, other: string, random: Random) => string;

function pieceOf(text: string, pattern: RegExp, random: Random): RegExpExecArray | null {
  const found = [...text.matchAll(pattern)];
  return found.length === 0 ? null : random.of(found);
}

const replaced = (text: string, at: number, length: number, by: string): string =>
  text.slice(0, at) + by + text.slice(at + length);

const textChanges: readonly TextChange[] = [
  (text, _other, random) => {
    const number = pieceOf(text, /[-+]?\d+(?:\.\d+)?/g, random);
    return number === null ? text : replaced(text, number.index, number[0].length, random.of(NUMBERS));
  },
  (text, _other, random) => {
    const number = pieceOf(text, /\d+/g, random);
    return number === null
      ? text
      : replaced(text, number.index, number[0].length, '9'.repeat(random.of([1, 20, 400, 20_000])));
  },
  (text, _other, random) => {
    const word = pieceOf(text, /[A-Za-z_][\w-]*/g, random);
    return word === null ? text : replaced(text, word.index, word[0].length, random.of(WORDS));
  },
  (text, _other, random) => replaced(text, random.below(text.length + 1), 0, random.of(WORDS)),
  (text, other, random) => {
    const lines = text.split('\n');
    const at = random.below(lines.length);
    const from = other.split('\n');
    const kind = random.below(5);
    if (kind === 0) lines.splice(at, 1);
    else if (kind === 1) lines.splice(at, 0, lines[at] as string);
    else if (kind === 2) lines.splice(at, 1, lines[random.below(lines.length)] as string);
    else if (kind === 3) lines.splice(at, 0, from[random.below(from.length)] as string);
    else lines.splice(at, 0, ...Array.from({ length: 2000 }, () => lines[at] as string));
    return lines.join('\n');
  },
  (text, _other, random) => text.slice(0, random.below(text.length + 1)),
  (text, other, random) =>
    text.slice(0, random.below(text.length + 1)) + other.slice(random.below(other.length + 1)),
  // Nested as deep as a page has room for.
  (text, _other, random) => {
    const depth = random.of([3, 70, 1000, 10_000]);
    const [open, close] = random.of([
      ['[', ']'],
      ['{a: ', '}'],
      ['<a>', '</a>'],
      ['- ', ''],
      ['(', ')'],
      ['"', '"'],
      ['&', ';'],
      ['? ', ''],
      ['!!a ', ''],
    ] as const);
    const at = random.below(text.length + 1);
    return `${text.slice(0, at)}${open.repeat(depth)}${random.below(2) === 0 ? close.repeat(depth) : ''}${text.slice(at)}`;
  },
  // Each line ten times the one before, in ten lines.
  (text) => {
    const lines = Array.from(
      { length: 10 },
      (_, index) =>
        `z${index}: &z${index} [${index === 0 ? 'a' : Array.from({ length: 10 }, () => `*z${index - 1}`).join(', ')}]`,
    );
    return `${lines.join('\n')}\n${text}`;
  },
];

/** `text`: the seeds are text, which is damaged as text as well as as bytes. The same draws give the same bytes. */
export function mutated(seeds: readonly Buffer[], text: boolean, random: Random): Buffer {
  let bytes = random.of(seeds);
  for (let left = random.of([1, 1, 1, 2, 2, 3, 5]); left > 0; left -= 1) {
    const other = random.of(seeds);
    bytes =
      text && random.below(4) > 0
        ? Buffer.from(random.of(textChanges)(bytes.toString('utf8'), other.toString('utf8'), random), 'utf8')
        : random.of(binaryChanges)(bytes, other, random);
    if (bytes.length > MOST_BYTES) bytes = bytes.subarray(0, MOST_BYTES);
  }
  return bytes;
}
