/** JSON text of a value whose lists may be made while they are written: a bin of ten thousand clips is never in memory as a whole. Pure. */
import { printable } from '../../files/names.ts';

export type Json =
  | null
  | boolean
  | number
  | string
  | Iterable<Json>
  | { readonly [name: string]: Json | undefined };

type Fields = { readonly [name: string]: Json | undefined };

const isList = (value: Json): value is Exclude<Iterable<Json>, string> =>
  typeof value === 'object' && value !== null && Symbol.iterator in value;

/** Nothing in it is made while it is written. */
function isWhole(value: Json | undefined): boolean {
  if (value === undefined || typeof value !== 'object' || value === null) return true;
  if (isList(value)) return Array.isArray(value) && value.every((item: Json) => isWhole(item));
  return Object.values(value as Fields).every(isWhole);
}

/** JSON cannot say NaN and infinities, and half a character, as names of files can have, is no text that every reader takes. */
const written = (_name: string, value: unknown): unknown => {
  if (typeof value === 'number' && !Number.isFinite(value))
    throw new RangeError(`no number of JSON: ${value}`);
  return typeof value === 'string' && !value.isWellFormed() ? printable(value) : value;
};

/** In pieces. Fields that are undefined are left out. Throws RangeError for what JSON cannot say. */
export function* jsonPieces(value: Json, depth = 0): Generator<string> {
  const inside = '  '.repeat(depth + 1);
  const end = `\n${'  '.repeat(depth)}`;
  if (isWhole(value)) {
    // No text of JSON has a line end in it.
    yield JSON.stringify(value, written, 2).replaceAll('\n', end);
    return;
  }
  let count = 0;
  if (isList(value)) {
    for (const item of value) {
      yield `${count === 0 ? '[' : ','}\n${inside}`;
      yield* jsonPieces(item, depth + 1);
      count += 1;
    }
    yield count === 0 ? '[]' : `${end}]`;
    return;
  }
  for (const [name, item] of Object.entries(value as Fields)) {
    if (item === undefined) continue;
    yield `${count === 0 ? '{' : ','}\n${inside}${JSON.stringify(name)}: `;
    yield* jsonPieces(item, depth + 1);
    count += 1;
  }
  yield count === 0 ? '{}' : `${end}}`;
}

/** A record of ours as JSON has it: what is undefined is not there. */
export const plainJson = (value: unknown): Json => JSON.parse(JSON.stringify(value)) as Json;
