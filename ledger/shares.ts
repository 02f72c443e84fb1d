/**
 * How runs share the machines of a farm: each by its weight. Pure, but for the names that runs and workers agree on.
 *
 * Every run has a tag: the seconds that its jobs took of any slot, divided by its weight, and what those in hand are thought to take. A free
 * slot goes to the run with the lowest tag that has a job for it, so that seconds come to be in proportion to weights, and no slot rests
 * while a run has work for it (Goyal, Vin and Cheng 1996, start-time fair queueing; a job is charged by what jobs of its run take, and set
 * right when it has ended).
 */
import { z } from 'zod';
import { BULL_PREFIX } from './queue.ts';

export const MOST_WEIGHT = 100;
export const weightSchema = z.int().min(1).max(MOST_WEIGHT);

/** A hash: by the run, its tag, `<done> <in hand>`. */
export const SHARES_KEY = `${BULL_PREFIX}:shares`;

/**
 * A run that had nothing to do for a while, or whom fewer machines can serve, is no further behind than this: seconds of a slot at
 * weight 1. It would else have the whole farm to itself until it has caught up. Above what one job takes, or that would be forgiven.
 */
export const MOST_BEHIND = 1_800;

/** Seconds of a slot by weight. */
export interface Tag {
  /** Of jobs that have ended. */
  readonly done: number;
  /** What those in hand are thought to take. */
  readonly inHand: number;
}

/** By run. */
export type Tags = ReadonlyMap<string, Tag>;

/** What stands in the hash; null: nothing that is a tag. */
export function readTag(text: string): Tag | null {
  const [done, inHand] = text.split(' ').map(Number);
  return done !== undefined && inHand !== undefined && Number.isFinite(done) && Number.isFinite(inHand)
    ? { done, inHand }
    : null;
}

const whole = ({ done, inHand }: Tag): number => done + inHand;

/**
 * From where a run goes on, beside those that the same machine serves. One that is new begins where the last of them is by what they have
 * done: what their jobs in hand are thought to take is a guess, and a run that began from a wrong one would be behind it for good.
 */
export function tagOf(run: string, beside: readonly string[], tags: Tags): number {
  const known = beside.flatMap((one) => tags.get(one) ?? []);
  const others = known.length > 0 ? known : [...tags.values()];
  const own = tags.get(run);
  const from = own === undefined ? Math.min(...others.map(({ done }) => done)) : whole(own);
  const begin = Number.isFinite(from) ? from : 0;
  return Math.max(begin, Math.max(begin, ...known.map(whole)) - MOST_BEHIND);
}

/** Whose turn it is, then who is asked when that one has nothing. `runs`: each once; of equal ones the first first. */
export function turnsOf(runs: readonly string[], tags: Tags): string[] {
  return (
    runs
      .map((run) => ({ run, tag: tagOf(run, runs, tags), isKnown: tags.has(run) }))
      // One that is new is where the last of the others is, wherever that gets to: it goes first there, or it never would.
      .sort((a, b) => a.tag - b.tag || Number(a.isKnown) - Number(b.isKnown))
      .map(({ run }) => run)
  );
}

/** Of what a machine has, what comes to a run beside others that it serves, from above 0 to 1. */
export function shareOf(weight: number, others: readonly number[]): number {
  return weight / others.reduce((sum, other) => sum + other, weight);
}
