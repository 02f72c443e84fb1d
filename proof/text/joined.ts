/** What was seen of the burnt-in text of each segment of a clip, as it is written down, and all of it as of the whole clip. Pure. */
import { z } from 'zod';
import type { TextVerdict } from './compare.ts';
import type { FileTextVerdict } from './file-text.ts';

const faultSchema = z.object({ frame: z.int(), item: z.int(), found: z.string(), expected: z.string() });

export const textVerdictSchema = z.object({
  frames: z.int(),
  samples: z.int(),
  worst: z.number(),
  contrast: z.number().nullable(),
  faults: z.array(faultSchema.extend({ kind: z.enum(['differs', 'invisible']) })),
  faulty: z.int(),
}) satisfies z.ZodType<TextVerdict>;

export const fileTextVerdictSchema = z.object({
  frames: z.int(),
  characters: z.int(),
  least: z.number().nullable(),
  level: z.object({ least: z.number(), most: z.number(), stated: z.number() }).nullable(),
  marks: z.object({ least: z.number(), seen: z.int(), untold: z.int() }).nullable(),
  faults: z.array(faultSchema),
  faulty: z.int(),
}) satisfies z.ZodType<FileTextVerdict>;

interface OfSegment<Verdict> {
  /** The segment's first frame in the clip. */
  readonly start: number;
  readonly seen: Verdict | null;
}

const sum = (numbers: readonly number[]): number => numbers.reduce((all, one) => all + one, 0);

/** null: of one of them there is none. */
function allOf<Verdict>(
  segments: readonly OfSegment<Verdict>[],
): readonly { readonly start: number; readonly seen: Verdict }[] | null {
  const all = segments.flatMap(({ start, seen }) => (seen === null ? [] : [{ start, seen }]));
  return all.length === 0 || all.length < segments.length ? null : all;
}

/** The least of those that say one; null: none does. */
function leastOf(numbers: readonly (number | null)[]): number | null {
  const said = numbers.filter((one): one is number => one !== null);
  return said.length === 0 ? null : Math.min(...said);
}

/** Counted in the clip. */
const moved = <Fault extends { readonly frame: number }>(
  all: readonly { readonly start: number; readonly seen: { readonly faults: readonly Fault[] } }[],
): Fault[] =>
  all.flatMap(({ start, seen }) => seen.faults.map((fault) => ({ ...fault, frame: fault.frame + start })));

/** In order. null: of one of them nothing came. */
export function joinedText(segments: readonly OfSegment<TextVerdict>[]): TextVerdict | null {
  const all = allOf(segments);
  if (all === null) return null;
  const of = all.map(({ seen }) => seen);
  return {
    frames: sum(of.map(({ frames }) => frames)),
    samples: sum(of.map(({ samples }) => samples)),
    worst: Math.max(...of.map(({ worst }) => worst)),
    contrast: leastOf(of.map(({ contrast }) => contrast)),
    faults: moved(all),
    faulty: sum(of.map(({ faulty }) => faulty)),
  };
}

/** The same of what was read in the files. Runs of frames that are taken together end where a segment does. */
export function joinedFileText(segments: readonly OfSegment<FileTextVerdict>[]): FileTextVerdict | null {
  const all = allOf(segments);
  if (all === null) return null;
  const of = all.map(({ seen }) => seen);
  const levels = of.flatMap(({ level }) => level ?? []);
  const marks = of.flatMap((one) => one.marks ?? []);
  const [level] = levels;
  return {
    frames: sum(of.map(({ frames }) => frames)),
    characters: sum(of.map(({ characters }) => characters)),
    least: leastOf(of.map(({ least }) => least)),
    level:
      level === undefined
        ? null
        : {
            least: Math.min(...levels.map(({ least }) => least)),
            most: Math.max(...levels.map(({ most }) => most)),
            stated: level.stated,
          },
    marks:
      marks.length === 0
        ? null
        : {
            least: Math.min(...marks.map(({ least }) => least)),
            seen: sum(marks.map(({ seen }) => seen)),
            untold: sum(marks.map(({ untold }) => untold)),
          },
    faults: moved(all),
    faulty: sum(of.map(({ faulty }) => faulty)),
  };
}
