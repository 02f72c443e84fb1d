/** What was seen of the encoder's input of each segment of a clip, as it is written down, and all of it as if the clip had been made whole. Pure. */
import { createHash } from 'node:crypto';
import { z } from 'zod';
import type { EncoderInputVerdict } from './compare.ts';
import { addLimits, type Limits, noLimits } from './passes.ts';

const limitsSchema = z.object({
  between: z.number(),
  colours: z.number(),
  codes: z.number(),
  farthest: z.number(),
});
const planeSchema = z.union([z.literal(0), z.literal(1), z.literal(2)]);
const offSchema = z.object({
  frame: z.int(),
  plane: planeSchema,
  x: z.number(),
  y: z.number(),
  found: z.number(),
  expected: z.number(),
  count: z.int(),
});

/** Numbers that JSON can hold: of no frame nothing is written down. */
export const encoderInputVerdictSchema = z.object({
  frames: z.int(),
  samples: z.int(),
  fewest: z.int(),
  worst: z.number(),
  off: z.array(offSchema),
  allowed: z.tuple([z.number(), z.number(), z.number()]),
  limits: limitsSchema,
  whole: z.object({
    wanted: z.array(z.int()),
    frames: z.array(z.int()),
    samples: z.int(),
    worst: z.number(),
    off: z.array(offSchema),
    unknown: z.int(),
    limits: limitsSchema,
    milliseconds: z.number(),
  }),
  placing: z
    .object({
      frames: z.int(),
      cells: z.int(),
      allowed: z.number(),
      worst: z.number(),
      off: z.array(
        z.object({
          frame: z.int(),
          off: z.number(),
          x: z.number(),
          y: z.number(),
          cells: z.int(),
          towards: z.object({ frame: z.int(), share: z.number() }).nullable(),
        }),
      ),
      limited: z.int(),
    })
    .nullable(),
  digests: z.object({ source: z.string(), given: z.string() }),
}) satisfies z.ZodType<EncoderInputVerdict>;

/** `start`: the segment's first frame in the clip. */
export interface SeenOfSegment {
  readonly start: number;
  readonly seen: EncoderInputVerdict;
}

const sum = (numbers: readonly number[]): number => numbers.reduce((all, one) => all + one, 0);
const most = (numbers: readonly number[]): number => Math.max(0, ...numbers);

function allLimits(of: readonly Limits[]): Limits {
  const all = noLimits();
  for (const one of of) addLimits(all, one);
  return all;
}

/** In order. null: of one of them nothing came, or of one of them means and of another none. */
export function joinedVerdict(
  segments: readonly { readonly start: number; readonly seen: EncoderInputVerdict | null }[],
): EncoderInputVerdict | null {
  const seen = segments.filter((one): one is SeenOfSegment => one.seen !== null);
  const [first] = seen;
  if (first === undefined || seen.length < segments.length) return null;
  const of = seen.map((one) => one.seen);
  const wholes = of.map(({ whole }) => whole);
  const placings = seen.flatMap(({ start, seen: { placing } }) =>
    placing === null ? [] : [{ start, placing }],
  );
  if (placings.length > 0 && placings.length < seen.length) return null;
  // Counted in the clip.
  const moved = <Item extends { readonly frame: number }>(
    list: (one: SeenOfSegment) => readonly Item[],
  ): Item[] => seen.flatMap((one) => list(one).map((item) => ({ ...item, frame: item.frame + one.start })));
  const numbered = (list: (one: SeenOfSegment) => readonly number[]): number[] =>
    seen.flatMap((one) => list(one).map((frame) => frame + one.start));
  const digest = (side: 'source' | 'given'): string =>
    createHash('sha256')
      .update(of.map(({ digests }) => digests[side]).join(' '))
      .digest('hex');
  return {
    frames: sum(of.map(({ frames }) => frames)),
    samples: sum(of.map(({ samples }) => samples)),
    fewest: Math.min(...of.map(({ fewest }) => fewest)),
    worst: most(of.map(({ worst }) => worst)),
    off: moved((one) => one.seen.off),
    allowed: [0, 1, 2].map((plane) => most(of.map(({ allowed }) => allowed[plane as 0 | 1 | 2]))) as [
      number,
      number,
      number,
    ],
    limits: allLimits(of.map(({ limits }) => limits)),
    whole: {
      wanted: numbered((one) => one.seen.whole.wanted),
      frames: numbered((one) => one.seen.whole.frames),
      samples: sum(wholes.map(({ samples }) => samples)),
      worst: most(wholes.map(({ worst }) => worst)),
      off: moved((one) => one.seen.whole.off),
      unknown: sum(wholes.map(({ unknown }) => unknown)),
      limits: allLimits(wholes.map(({ limits }) => limits)),
      milliseconds: sum(wholes.map(({ milliseconds }) => milliseconds)),
    },
    placing:
      placings.length === 0
        ? null
        : {
            frames: sum(placings.map(({ placing }) => placing.frames)),
            cells: placings[0]?.placing.cells ?? 0,
            allowed: most(placings.map(({ placing }) => placing.allowed)),
            worst: most(placings.map(({ placing }) => placing.worst)),
            off: placings.flatMap(({ start, placing }) =>
              placing.off.map((one) => ({
                ...one,
                frame: one.frame + start,
                towards: one.towards === null ? null : { ...one.towards, frame: one.towards.frame + start },
              })),
            ),
            limited: sum(placings.map(({ placing }) => placing.limited)),
          },
    digests: { source: digest('source'), given: digest('given') },
  };
}
