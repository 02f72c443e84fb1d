/**
 * .cube files (Cube LUT Specification 1.0), and the dialect in which one file has a 1D table and a 3D table behind it, each
 * with its `LUT_1D_INPUT_RANGE` and `LUT_3D_INPUT_RANGE`. Interpolation, of which the format says nothing, is linear in 1D; in 3D
 * whoever reads a file says which.
 */
import { isUtf8 } from 'node:buffer';
import type { Triple } from './matrix.ts';
import { ColourFileError, numberOf, quoted } from './refuse.ts';
import type { Interpolation, Step } from './steps.ts';

/** Least and most entries a side, by the specification. */
const SIZES = { LUT_1D_SIZE: [2, 65536], LUT_3D_SIZE: [2, 256] } as const;
type SizeKey = keyof typeof SIZES;

interface Header {
  readonly sizes: Map<SizeKey, number>;
  readonly domain: Map<'DOMAIN_MIN' | 'DOMAIN_MAX', Triple>;
  readonly ranges: Map<'LUT_1D_INPUT_RANGE' | 'LUT_3D_INPUT_RANGE', readonly [number, number]>;
}

function numbers(words: readonly string[], count: number, line: number, what: string): number[] {
  const values = words.map(numberOf);
  if (words.length !== count || values.includes(null))
    throw new ColourFileError(
      `line ${line}: ${what} with ${quoted(words.join(' '))}`,
      `${count} number${count === 1 ? '' : 's'}`,
    );
  return values as number[];
}

function once<Key, Value>(map: Map<Key, Value>, key: Key & string, value: Value, line: number): void {
  if (map.has(key)) throw new ColourFileError(`line ${line}: ${key} a second time`, 'every keyword once');
  map.set(key, value);
}

function readKeyword(header: Header, key: string, words: readonly string[], line: number): void {
  switch (key) {
    case 'LUT_1D_SIZE':
    case 'LUT_3D_SIZE': {
      const [size] = numbers(words, 1, line, key) as [number];
      const [least, most] = SIZES[key];
      if (!Number.isInteger(size) || size < least || size > most)
        throw new ColourFileError(
          `line ${line}: ${key} ${words[0]}`,
          `a whole number from ${least} to ${most}`,
        );
      once(header.sizes, key, size, line);
      break;
    }
    case 'DOMAIN_MIN':
    case 'DOMAIN_MAX': {
      const [r, g, b] = numbers(words, 3, line, key) as [number, number, number];
      once(header.domain, key, [r, g, b] as const, line);
      break;
    }
    case 'LUT_1D_INPUT_RANGE':
    case 'LUT_3D_INPUT_RANGE': {
      const [low, high] = numbers(words, 2, line, key) as [number, number];
      once(header.ranges, key, [low, high] as const, line);
      break;
    }
    default:
      throw new ColourFileError(
        `line ${line}: the keyword ${quoted(key)}`,
        'TITLE, LUT_1D_SIZE, LUT_3D_SIZE, DOMAIN_MIN, DOMAIN_MAX, LUT_1D_INPUT_RANGE, LUT_3D_INPUT_RANGE, or numbers',
      );
  }
}

/** Where a table begins and ends on its input: the domain of the specification, or the range of the dialect, not both. */
function placeOf(
  header: Header,
  key: 'LUT_1D_INPUT_RANGE' | 'LUT_3D_INPUT_RANGE',
): { readonly low: Triple; readonly high: Triple } {
  const range = header.ranges.get(key);
  if (range !== undefined && header.domain.size > 0)
    throw new ColourFileError(`${key} beside DOMAIN_MIN or DOMAIN_MAX`, 'one of the two');
  const [from, to] = range ?? [0, 1];
  const low = header.domain.get('DOMAIN_MIN') ?? ([from, from, from] as const);
  const high = header.domain.get('DOMAIN_MAX') ?? ([to, to, to] as const);
  for (const channel of [0, 1, 2] as const)
    if (!(low[channel] < high[channel]))
      throw new ColourFileError(
        `an input from ${low[channel]} to ${high[channel]}`,
        'a beginning that is less than the end',
      );
  return { low, high };
}

/** Throws ColourFileError when anything in the file is not understood. */
export function cubeSteps(bytes: Buffer, interpolation: Interpolation = 'trilinear'): Step[] {
  if (!isUtf8(bytes)) throw new ColourFileError('bytes that are no text', 'a .cube file in ASCII or UTF-8');
  const header: Header = { sizes: new Map(), domain: new Map(), ranges: new Map() };
  const rows: number[] = [];
  for (const [index, text] of bytes
    .toString('utf8')
    .replace(/^\ufeff/, '')
    .split(/\r\n|\r|\n/)
    .entries()) {
    const [first, ...rest] = text.trim().split(/\s+/);
    if (first === undefined || first === '' || first.startsWith('#') || /^TITLE$/.test(first)) continue;
    if (/^[A-Z]/i.test(first)) {
      // A keyword after the first row could belong to another table, of which the format knows nothing.
      if (rows.length > 0)
        throw new ColourFileError(
          `line ${index + 1}: ${quoted(first)} among the rows`,
          'keywords before the first row',
        );
      readKeyword(header, first, rest, index + 1);
    } else rows.push(...numbers([first, ...rest], 3, index + 1, 'a row'));
  }
  const length = header.sizes.get('LUT_1D_SIZE') ?? 0;
  const side = header.sizes.get('LUT_3D_SIZE') ?? 0;
  if (length === 0 && side === 0)
    throw new ColourFileError('neither LUT_1D_SIZE nor LUT_3D_SIZE', 'one of them, or both');
  if (length === 0 && header.ranges.has('LUT_1D_INPUT_RANGE'))
    throw new ColourFileError(
      'LUT_1D_INPUT_RANGE without LUT_1D_SIZE',
      'a range only for a table that is there',
    );
  if (side === 0 && header.ranges.has('LUT_3D_INPUT_RANGE'))
    throw new ColourFileError(
      'LUT_3D_INPUT_RANGE without LUT_3D_SIZE',
      'a range only for a table that is there',
    );
  if (length > 0 && side > 0 && header.domain.size > 0)
    throw new ColourFileError(
      'DOMAIN_MIN or DOMAIN_MAX with two tables',
      'LUT_1D_INPUT_RANGE and LUT_3D_INPUT_RANGE, which say which table is meant',
    );
  const expected = length + side ** 3;
  if (rows.length !== 3 * expected)
    throw new ColourFileError(`${rows.length / 3} rows`, `${expected} rows, as the sizes say`);
  const steps: Step[] = [];
  if (length > 0) {
    const channel = (c: 0 | 1 | 2): Float64Array =>
      Float64Array.from({ length }, (_, place) => rows[3 * place + c] as number);
    steps.push({
      kind: 'table1',
      tables: [channel(0), channel(1), channel(2)],
      domain: placeOf(header, 'LUT_1D_INPUT_RANGE'),
    });
  }
  if (side > 0)
    steps.push({
      kind: 'table3',
      size: side,
      values: Float64Array.from(rows.slice(3 * length)),
      ...placeOf(header, 'LUT_3D_INPUT_RANGE'),
      interpolation,
    });
  return steps;
}
