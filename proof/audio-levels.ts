/** Block levels of a source's channel against those heard: where they part, and whether another stretch of the source explains it. */
import { decibelsOf } from './audio-fingerprint.ts';

/** Levels part from here on. Coders stay within 1 dB of a block and its neighbours, changes of rate within 4 dB where all audio lies above the band. */
const APART_DECIBELS = 6;
/** dBFS below which a source's level is not missed, and above which audio that the source does not have is heard. */
const MISSED_FROM = -60;
const ADDED_FROM = -50;
const QUIET = -70;
/** What is left of audio that has been muted is weaker by this. */
const MUTED_DECIBELS = 30;
/** Share of a run's blocks that names it. */
const MOSTLY = 0.8;
/** Blocks that may be half silent where a silence begins and ends, and are spread by a coder. */
const HALF_MUTED = 4;
/** Blocks: shorter runs say nothing; runs with shorter gaps are one. */
const SHORTEST_RUN = 2;
const GAP = 25;
/** Blocks either way within which a stretch is looked for, and which it must have at least: 10 s, 300 ms. */
const SEARCH = 500;
const SHORTEST_SHAPE = 15;
/** A stretch is found where its levels follow the source's so well, and so much better than in place. It must move for that: dB of standard deviation. */
const FOLLOWS = 0.9;
const BETTER = 0.1;
const MOVES_DECIBELS = 1.5;

const partings = ['muted', 'added', 'differs'] as const;
/** muted: next to nothing where the source has audio. added: audio where the source has none. differs: other levels. */
export type Parting = (typeof partings)[number];

/** Levels of one channel, block by block; both arrays count the same blocks. */
export interface BlockLevels {
  readonly source: Uint8Array;
  readonly heard: Uint8Array;
}

/** Blocks, end exclusive. */
export interface Run {
  readonly kind: Parting;
  readonly from: number;
  readonly to: number;
  /** Of its blocks that part, 0 to 1. */
  readonly mutedShare: number;
}

const clamped = (level: number): number => Math.max(QUIET, decibelsOf(level));

function partingAt(source: Uint8Array, heard: Uint8Array, block: number): Parting | null {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (let near = Math.max(0, block - 1); near <= Math.min(source.length - 1, block + 1); near++) {
    low = Math.min(low, decibelsOf(source[near] as number));
    high = Math.max(high, decibelsOf(source[near] as number));
  }
  const found = decibelsOf(heard[block] as number);
  if (low > MISSED_FROM && found < low - MUTED_DECIBELS) return 'muted';
  if (high < QUIET && found > ADDED_FROM) return 'added';
  if (low > MISSED_FROM && found < low - APART_DECIBELS) return 'differs';
  if (found > ADDED_FROM && found > high + APART_DECIBELS) return 'differs';
  return null;
}

/** Runs of blocks whose levels part, in order. Both arrays count the same blocks. */
export function runsApart(source: Uint8Array, heard: Uint8Array): Run[] {
  const runs: { from: number; to: number; blocks: Record<Parting, number> }[] = [];
  for (let block = 0; block < Math.min(source.length, heard.length); block++) {
    const kind = partingAt(source, heard, block);
    if (kind === null) continue;
    const last = runs.at(-1);
    if (last !== undefined && block - last.to < GAP) {
      last.to = block + 1;
      last.blocks[kind] += 1;
    } else runs.push({ from: block, to: block + 1, blocks: { muted: 0, added: 0, differs: 0, [kind]: 1 } });
  }
  return runs.flatMap(({ from, to, blocks }) => {
    const all = partings.reduce((sum, kind) => sum + blocks[kind], 0);
    const named = partings.find((one) => blocks[one] >= MOSTLY * all) ?? 'differs';
    const kind = named === 'muted' && all - blocks.muted > HALF_MUTED ? 'differs' : named;
    return all < SHORTEST_RUN ? [] : [{ kind, from, to, mutedShare: blocks.muted / all }];
  });
}

/** Of the blocks heard from `from` to `to`, against the source's moved by `shift`. */
function likeness(
  { source, heard }: BlockLevels,
  { from, to }: Pick<Run, 'from' | 'to'>,
  shift: number,
): { correlation: number; deviation: number } | null {
  const first = Math.max(from, shift);
  const last = Math.min(to, source.length + shift, heard.length);
  const count = last - first;
  if (count < SHORTEST_SHAPE || count < (to - from) / 2) return null;
  let [a, b, aa, bb, ab] = [0, 0, 0, 0, 0];
  for (let block = first; block < last; block++) {
    const x = clamped(source[block - shift] as number);
    const y = clamped(heard[block] as number);
    a += x;
    b += y;
    aa += x * x;
    bb += y * y;
    ab += x * y;
  }
  const [varianceA, varianceB, together] = [aa - (a * a) / count, bb - (b * b) / count, ab - (a * b) / count];
  const product = varianceA * varianceB;
  return {
    correlation: product > 1e-6 ? together / Math.sqrt(product) : 0,
    deviation: Math.sqrt(Math.max(0, varianceB) / count),
  };
}

/** Blocks by which the source's levels must be moved (positive: later) to give those heard from `from` to `to`; null when no move explains them. */
export function explainingShift(levels: BlockLevels, stretch: Pick<Run, 'from' | 'to'>): number | null {
  const inPlace = likeness(levels, stretch, 0);
  if (inPlace === null || inPlace.deviation < MOVES_DECIBELS) return null;
  let best = { shift: 0, correlation: Math.max(FOLLOWS, inPlace.correlation + BETTER) };
  for (let shift = -SEARCH; shift <= SEARCH; shift++) {
    const correlation = likeness(levels, stretch, shift)?.correlation ?? 0;
    if (correlation > best.correlation) best = { shift, correlation };
  }
  return best.shift === 0 ? null : best.shift;
}

/** Mean of the changes of level, dB, over blocks in which both hold audio and that are not passed over; null without any. */
export function meanChange(
  { source, heard }: BlockLevels,
  passesOver: (block: number) => boolean = () => false,
): number | null {
  let sum = 0;
  let count = 0;
  for (let block = 0; block < Math.min(source.length, heard.length); block++) {
    const [before, after] = [decibelsOf(source[block] as number), decibelsOf(heard[block] as number)];
    if (before < MISSED_FROM || after < before - MUTED_DECIBELS || passesOver(block)) continue;
    sum += after - before;
    count += 1;
  }
  return count === 0 ? null : sum / count;
}
