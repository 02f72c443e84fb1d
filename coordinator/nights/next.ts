/** Which night is begun next: rolls that may be taken and are not over, day by day, the earlier hour first, then who had the least for its weight. Pure. */
import type { Settling } from './settled.ts';
import type { TakenRoll } from './taken.ts';

export interface RollToTake {
  readonly roll: string;
  readonly seen: string;
  readonly settling: Settling;
  readonly taken: TakenRoll | null;
}

export interface DayToTake {
  readonly day: string;
  readonly folder: string;
  readonly take: 'rolls' | 'days';
  readonly asked: string;
  readonly rolls: readonly RollToTake[];
  /** Milliseconds since 1970; null: it is due at no hour. */
  readonly due: number | null;
  readonly weight: number;
  /** Seconds that nights of it took so far. */
  readonly served: number;
  /** Milliseconds of the observer's clock before which it is not tried again. */
  readonly notBefore: number;
}

export interface NextNight {
  readonly day: string;
  readonly folder: string;
  readonly asked: string;
  readonly rolls: readonly RollToTake[];
}

/** Whether a roll was begun as it is now, by whoever: it goes on at once, and is not waited for once more. */
const wasBegun = ({ taken, seen }: RollToTake, asked: string): boolean =>
  taken?.state === 'begun' && taken.seen === seen && taken.asked === asked;

export function isOver({ taken, seen }: RollToTake, asked: string): boolean {
  return taken?.state === 'over' && taken.seen === seen && taken.asked === asked;
}

/** Rolls of the day that a night would take now. */
export function rollsToTake({ rolls, take, asked }: DayToTake): readonly RollToTake[] {
  const may = (one: RollToTake): boolean => one.settling === 'settled' || wasBegun(one, asked);
  if (take === 'days' && !rolls.every((one) => may(one) || isOver(one, asked))) return [];
  return rolls.filter((one) => may(one) && !isOver(one, asked));
}

/** null: there is nothing to begin. */
export function nextNight(days: readonly DayToTake[], now: number): NextNight | null {
  const [first] = days
    .filter(({ notBefore }) => notBefore <= now)
    .map((day) => ({ day, rolls: rollsToTake(day) }))
    .filter(({ rolls }) => rolls.length > 0)
    .sort((a, b) => compareDays(a.day, b.day));
  if (first === undefined) return null;
  const { day, folder, asked } = first.day;
  return { day, folder, asked, rolls: first.rolls };
}

export function compareDays(a: DayToTake, b: DayToTake): number {
  if (a.due !== b.due) return (a.due ?? Number.POSITIVE_INFINITY) - (b.due ?? Number.POSITIVE_INFINITY);
  return a.served / a.weight - b.served / b.weight || (a.day < b.day ? -1 : a.day > b.day ? 1 : 0);
}
