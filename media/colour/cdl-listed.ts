/** A correction as a file lists it, and its numbers held against the ranges of ASC CDL. */
import { type Cdl, cdlSchema } from './cdl.ts';
import { ColourFileError } from './refuse.ts';

/** Where in its source a decision of an edit list lies: labels as written, the last one exclusive. */
export interface EdlSpan {
  readonly from: string;
  readonly to: string;
  readonly drop: boolean;
}

/** A correction of a file, with all that says of which clip it is. */
export interface ListedCdl {
  readonly values: Cdl;
  /** Of the correction; null: it has none. */
  readonly id: string | null;
  /** Where it stands in the file, for people: `correction 3`, `line 12`. */
  readonly place: string;
  /** Names by which it may mean a clip, without endings of files: its id, what it refers to, the clip of an edit. */
  readonly names: readonly string[];
  /** Of an edit list. */
  readonly reel: string | null;
  readonly span: EdlSpan | null;
}

/** Holds the numbers against the ranges of the list. */
export function checkedCdl(values: unknown, where: string): Cdl {
  const parsed = cdlSchema.safeParse(values);
  if (parsed.success) return parsed.data;
  const [issue] = parsed.error.issues;
  throw new ColourFileError(
    `${where}: ${(issue?.path ?? []).slice(0, 1).join('')} ${JSON.stringify((values as Record<string, unknown>)[String(issue?.path[0])])}`,
    'slopes and saturation of 0 or more, powers above 0 (ASC CDL)',
  );
}
