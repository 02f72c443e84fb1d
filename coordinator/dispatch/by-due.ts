/** In which order rolls are read: as their jobs are made. Pure. */
import { compareDue, type RollRank } from './order.ts';

export interface DueHours {
  of(roll: string): number | null;
}

/** `first`: names of those that go before all others, in this order. */
export function rankOf(roll: string, place: number, first: readonly string[], dues: DueHours): RollRank {
  const index = first.indexOf(roll);
  return { first: index === -1 ? null : index, due: dues.of(roll), place };
}

export function byDue<Roll extends { readonly name: string }>(
  rolls: readonly Roll[],
  first: readonly string[],
  dues: DueHours,
): Roll[] {
  return rolls
    .map((roll, place) => ({ roll, rank: rankOf(roll.name, place, first, dues) }))
    .sort((a, b) => compareDue(a.rank, b.rank) || a.rank.place - b.rank.place)
    .map(({ roll }) => roll);
}
