/** Whether all days of a show were made alike: every trait of every profile, with the days that have each value. Pure. */
import type { DayMade, TraitValue } from './made.ts';
import { differencesOf, inDayOrder, type Difference } from './differences.ts';
import { type Trait, traits } from './traits.ts';

export interface ValueOverDays {
  readonly value: string;
  readonly days: readonly { readonly day: string; readonly clips: number }[];
  /** The first clips that have it, and what it follows from, of the day that had it first. */
  readonly first: readonly string[];
  readonly because: string | null;
}

export interface TraitOverDays {
  readonly trait: Trait;
  /** One: all are alike. */
  readonly values: readonly ValueOverDays[];
}

export interface ProfileOverDays {
  readonly name: string;
  readonly days: readonly string[];
  readonly traits: readonly TraitOverDays[];
}

export interface ShowMade {
  readonly days: readonly string[];
  readonly profiles: readonly ProfileOverDays[];
  /** Each day against the one before it; days without a difference are left out. */
  readonly changes: readonly {
    readonly day: string;
    readonly before: string;
    readonly differences: readonly Difference[];
  }[];
}

export function showMadeOf(days: readonly DayMade[]): ShowMade {
  const inOrder = [...days].sort((a, b) => inDayOrder(a.day, b.day));
  const names = [...new Set(inOrder.flatMap(({ profiles }) => profiles.map(({ name }) => name)))].sort();
  return {
    days: inOrder.map(({ day }) => day),
    profiles: names.map((name) => profileOverDays(name, inOrder)),
    changes: inOrder.flatMap((now, index) => {
      const before = inOrder[index - 1];
      const differences = before === undefined ? [] : differencesOf(now, before);
      return before === undefined || differences.length === 0
        ? []
        : [{ day: now.day, before: before.day, differences }];
    }),
  };
}

function profileOverDays(name: string, days: readonly DayMade[]): ProfileOverDays {
  const there = days.flatMap(({ day, profiles }) => {
    const profile = profiles.find((one) => one.name === name);
    return profile === undefined ? [] : [{ day, profile }];
  });
  return {
    name,
    days: there.map(({ day }) => day),
    traits: traits.flatMap((trait): TraitOverDays[] => {
      const values = new Map<string, { days: { day: string; clips: number }[]; one: TraitValue }>();
      for (const { day, profile } of there)
        for (const one of profile.traits.find((each) => each.trait === trait)?.values ?? []) {
          const known = values.get(one.value) ?? { days: [], one };
          values.set(one.value, known);
          known.days.push({ day, clips: one.clips });
        }
      if (values.size === 0) return [];
      return [
        {
          trait,
          values: [...values].map(([value, { days: having, one }]) => ({
            value,
            days: having,
            first: one.first,
            because: one.because,
          })),
        },
      ];
    }),
  };
}

/** Traits that have more than one value, over all profiles, each once. */
export function traitsThatDiffer({ profiles }: Pick<ShowMade, 'profiles'>): Trait[] {
  return traits.filter((trait) =>
    profiles.some((profile) => profile.traits.some((one) => one.trait === trait && one.values.length > 1)),
  );
}
