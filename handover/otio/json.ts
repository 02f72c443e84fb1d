/** JSON text of a value whose lists may be made while they are written: a bin of ten thousand clips is never in memory as a whole. Pure. */
import { printable } from '../../files/names.ts';

export type Json =
  | null
  | boolean
  | number
  | string
  | Iterable<Json>
  | { readonly [name: string]: Json | undefined };

const isList = (value: Json): value is Iterable<Json> =>
  typeof value === 'object' && value !== null && Symbol.iterator in value;

/** In pieces. Fields that are undefined are left out. Throws RangeError for NaN and infinities, which JSON cannot say. */
export function* jsonPieces(value: Json, depth = 0): Generator<string> {
  const inside = '  '.repeat(depth + 1);
  const end = `\n${'  '.repeat(depth)}`;
  if (isList(value) && typeof value !== 'string') {
    let count = 0;
    for (const item of value) {
      yield `${count === 0 ? '[' : ','}\n${inside}`;
      yield* jsonPieces(item, depth + 1);
      count += 1;
    }
    yield count === 0 ? '[]' : `${end}]`;
    return;
  }
  if (typeof value !== 'object' || value === null) {
    if (typeof value === 'number' && !Number.isFinite(value))
      throw new RangeError(`no number of JSON: ${value}`);
    // Half a character, as names of files can have, is no text that every reader takes.
    yield JSON.stringify(typeof value === 'string' && !value.isWellFormed() ? printable(value) : value);
    return;
  }
  const fields = Object.entries(value as { readonly [name: string]: Json | undefined });
  let count = 0;
  for (const [name, item] of fields) {
    if (item === undefined) continue;
    yield `${count === 0 ? '{' : ','}\n${inside}${JSON.stringify(name)}: `;
    yield* jsonPieces(item, depth + 1);
    count += 1;
  }
  yield count === 0 ? '{}' : `${end}}`;
}

/** A record of ours as JSON has it: what is undefined is not there. */
export const plainJson = (value: unknown): Json => JSON.parse(JSON.stringify(value)) as Json;
