/**
 * Masters beside proxies, or after the proxies of all rolls: what of a clip is one job, and what it costs when that is two. Pure.
 *
 * In one job all of it is made of one decode. In two the clip is decoded twice, but nobody waits for masters who only needs proxies.
 */
import type { Wave } from '../../ledger/job.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import { isMaster, type LoadedProfile } from '../../profiles/schema.ts';
import { jobSeconds } from './time.ts';

export const masterTurns = ['with', 'after'] as const;
export type MastersTurn = (typeof masterTurns)[number];

interface ToMake {
  readonly profile: LoadedProfile;
  readonly outcome: AnyOutcome;
}

export interface OfJob<Item> {
  /** undefined: there is one wave. */
  readonly wave: Wave | undefined;
  readonly items: readonly Item[];
  /** Whether the stills of the clip come behind it. */
  readonly hasStills: boolean;
}

/** What each job of a clip makes, in the order of the waves. Stills come behind what is made first: people look at them with the proxies. */
export function cutIntoJobs<Item extends ToMake>(items: readonly Item[], turn: MastersTurn): OfJob<Item>[] {
  if (turn === 'with') return [{ wave: undefined, items, hasStills: true }];
  const [masters, proxies] = parted(items);
  const jobs: Omit<OfJob<Item>, 'hasStills'>[] = [
    // Stills alone are looked at, too.
    ...(proxies.length > 0 || masters.length === 0 ? [{ wave: 'proxies' as const, items: proxies }] : []),
    ...(masters.length > 0 ? [{ wave: 'masters' as const, items: masters }] : []),
  ];
  return jobs.map((job, index) => ({ ...job, hasStills: index === 0 }));
}

/** How much longer two jobs take than one; null: all of it is of one wave. `frames`: of a stretch. */
export function secondDecode(
  facts: ClipFacts,
  items: readonly ToMake[],
  frames: number | undefined,
): number | null {
  const [masters, proxies] = parted(items);
  if (masters.length === 0 || proxies.length === 0) return null;
  const seconds = (made: readonly ToMake[]): number => jobSeconds(facts, made, frames);
  return seconds(proxies) + seconds(masters) - seconds(items);
}

function parted<Item extends ToMake>(items: readonly Item[]): [masters: Item[], proxies: Item[]] {
  const isOf = ({ profile }: ToMake): boolean => isMaster(profile.profile);
  return [items.filter(isOf), items.filter((item) => !isOf(item))];
}
