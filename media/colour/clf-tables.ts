/** Nodes of the Common LUT Format that are tables: LUT1D, also over all halves, and LUT3D. */
import {
  arrayOf,
  attributesOf,
  childrenBesides,
  COMMON_ATTRIBUTES,
  flag,
  numberIn,
  numbersIn,
  oneOf,
  type Place,
} from './clf-elements.ts';
import { halfOf } from './evaluate.ts';
import { ColourFileError, quoted } from './refuse.ts';
import type { Step } from './steps.ts';

/** Bits of the greatest finite half. */
const MOST_HALF = 0x7bff;

export function table1({ node, where, outScale }: Place): Step[] {
  const { interpolation, halfDomain, rawHalfs } = attributesOf(
    node,
    [...COMMON_ATTRIBUTES, 'interpolation', 'halfDomain', 'rawHalfs'],
    where,
  );
  if (interpolation !== undefined) oneOf(interpolation, ['linear'], `${where}: interpolation`);
  const { dim, node: array } = arrayOf(
    { node, where, inScale: 1, outScale },
    childrenBesides(node, ['Array'], where),
  );
  const [length, components] = dim as [number, number];
  if (
    dim.length !== 2 ||
    !Number.isInteger(length) ||
    length < 2 ||
    length > 65536 ||
    ![1, 3].includes(components)
  )
    throw new ColourFileError(
      `${where}: dim ${dim.join(' ')}`,
      'from 2 to 65536 entries with 1 or 3 components',
    );
  const half = flag(halfDomain, `${where}: halfDomain`);
  if (half && length !== 65536)
    throw new ColourFileError(`${where}: ${length} entries with halfDomain`, '65536');
  const raw = flag(rawHalfs, `${where}: rawHalfs`);
  const values =
    raw || half
      ? wordsOrHalfs(array.text, length * components, raw, where)
      : numbersIn(array.text, length * components, where);
  const channel = (c: number): Float64Array =>
    Float64Array.from(
      { length },
      (_, place) => (values[place * components + (components === 3 ? c : 0)] as number) / outScale,
    );
  const tables = [channel(0), channel(1), channel(2)] as const;
  // With halfDomain the entries of infinities and of what is no number are never looked up.
  const used = (index: number): boolean => !half || (index & 0x7fff) <= MOST_HALF;
  if (tables.some((table) => table.some((value, index) => used(index) && !Number.isFinite(value))))
    throw new ColourFileError(`${where}: an entry that is no finite number`, 'finite numbers');
  return [
    { kind: 'table1', tables: [...tables], domain: half ? 'half' : { low: [0, 0, 0], high: [1, 1, 1] } },
  ];
}

/** Numbers, infinities and `nan` as files with halfDomain have them, or the bits of 16-bit floats. */
function wordsOrHalfs(text: string, count: number, raw: boolean, where: string): number[] {
  const words = text.trim().split(/\s+/);
  if (words.length !== count) throw new ColourFileError(`${where}: ${words.length} numbers`, `${count}`);
  return words.map((word) => {
    if (raw) {
      if (!/^\d{1,5}$/.test(word) || Number(word) > 65535)
        throw new ColourFileError(`${where}: ${quoted(word)} with rawHalfs`, 'whole numbers from 0 to 65535');
      return halfOf(Number(word));
    }
    if (/^[+-]?nan$/i.test(word)) return Number.NaN;
    const infinite = /^([+-]?)inf(?:inity)?$/i.exec(word);
    return infinite === null
      ? numberIn(word, where)
      : infinite[1] === '-'
        ? Number.NEGATIVE_INFINITY
        : Number.POSITIVE_INFINITY;
  });
}

export function table3({ node, where, outScale }: Place): Step[] {
  const { interpolation } = attributesOf(node, [...COMMON_ATTRIBUTES, 'interpolation'], where);
  const { dim, node: array } = arrayOf(
    { node, where, inScale: 1, outScale },
    childrenBesides(node, ['Array'], where),
  );
  const [size, second, third, components] = dim as [number, number, number, number];
  if (
    dim.length !== 4 ||
    size !== second ||
    size !== third ||
    components !== 3 ||
    !Number.isInteger(size) ||
    size < 2 ||
    size > 256
  )
    throw new ColourFileError(`${where}: dim ${dim.join(' ')}`, 'n n n 3 with n from 2 to 256');
  const written = numbersIn(array.text, 3 * size ** 3, where);
  // Written with blue fastest, kept with red fastest.
  const values = new Float64Array(written.length);
  for (let r = 0; r < size; r++)
    for (let g = 0; g < size; g++)
      for (let b = 0; b < size; b++)
        for (let c = 0; c < 3; c++)
          values[3 * (r + size * (g + size * b)) + c] =
            (written[3 * (b + size * (g + size * r)) + c] as number) / outScale;
  return [
    {
      kind: 'table3',
      size,
      values,
      low: [0, 0, 0],
      high: [1, 1, 1],
      interpolation: oneOf(
        interpolation ?? 'trilinear',
        ['trilinear', 'tetrahedral'],
        `${where}: interpolation`,
      ),
    },
  ];
}
