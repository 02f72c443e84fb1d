/** How one day was made otherwise than another: what, how it was, where, and why. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import { listed } from '../words.ts';
import type { DayMade, TraitValue } from './made.ts';
import { traitNames } from './traits.ts';

export interface Difference {
  /** For people: `raster`, `toolchain`. */
  readonly what: string;
  /** null: it is not of one profile. */
  readonly profile: string | null;
  readonly now: string;
  readonly before: string;
  /** Which clips have it: how many, and the first of them; null: all. */
  readonly where: string | null;
  /** null: nothing on record says it. */
  readonly why: string | null;
}

export interface DayDifferences {
  /** The day that it is compared with; null: there is none before it. */
  readonly before: string | null;
  readonly differences: readonly Difference[];
}

type MadeProfile = DayMade['profiles'][number];

const byName = new Intl.Collator('en', { numeric: true });
/** Days follow each other by their names, numbers in them as numbers. */
export const inDayOrder = (a: string, b: string): number => byName.compare(a, b);

export function dayBefore(days: readonly string[], day: string): string | null {
  return (
    days
      .filter((one) => inDayOrder(one, day) < 0)
      .sort(inDayOrder)
      .at(-1) ?? null
  );
}

/** `video.quality "lb" to "sq"` */
function changedFields(now: MadeProfile, before: MadeProfile): string | null {
  const [fields, earlier] = [now.forms.at(-1)?.fields ?? {}, before.forms.at(-1)?.fields ?? {}];
  const paths = [...new Set([...Object.keys(earlier), ...Object.keys(fields)])].filter(
    (path) => fields[path] !== earlier[path],
  );
  if (Object.keys(fields).length === 0 || Object.keys(earlier).length === 0 || paths.length === 0)
    return null;
  return listed(
    paths.map((path) => `${path} from ${earlier[path] ?? 'nothing'} to ${fields[path] ?? 'nothing'}`),
  );
}

function isSameProfile(now: MadeProfile, before: MadeProfile): boolean {
  const known = new Set(before.forms.map(({ hash }) => hash));
  return now.forms.every(({ hash }) => known.has(hash));
}

/** How many values are written out. */
const VALUES = 4;

/** Values have commas of their own. */
function wordsOf(values: readonly TraitValue[]): string {
  const more = values.length - VALUES;
  return [...values.slice(0, VALUES).map(({ value }) => value), ...(more > 0 ? [`${more} more`] : [])].join(
    '; ',
  );
}

function whereOf(fresh: readonly TraitValue[], all: readonly TraitValue[]): string | null {
  if (fresh.length === all.length) return null;
  const clips = fresh.reduce((sum, one) => sum + one.clips, 0);
  const first = fresh.flatMap((one) => one.first).slice(0, 3);
  return clips > first.length ? `${first.join(', ')} and ${clips - first.length} more` : listed(first);
}

function profileDifferences(now: MadeProfile, before: MadeProfile): Difference[] {
  const isSame = isSameProfile(now, before);
  const fields = changedFields(now, before);
  const changed = fields === null ? 'the profile was changed' : `the profile was changed: ${fields}`;
  const ofTraits = now.traits.flatMap(({ trait, values }): Difference[] => {
    const earlier = before.traits.find((one) => one.trait === trait)?.values ?? [];
    const fresh = values.filter(({ value }) => !earlier.some((one) => one.value === value));
    if (fresh.length === 0) return [];
    const because = [...new Set(fresh.flatMap((one) => (one.because === null ? [] : [one.because])))];
    const reasons = [...because, ...(isSame ? [] : [changed])];
    return [
      {
        what: traitNames[trait],
        profile: now.name,
        now: wordsOf(fresh),
        before: earlier.length === 0 ? 'nothing' : wordsOf(earlier),
        where: whereOf(fresh, values),
        why: reasons.length === 0 ? null : reasons.join('; '),
      },
    ];
  });
  if (isSame || ofTraits.length > 0) return ofTraits;
  return [
    {
      what: 'profile',
      profile: now.name,
      now: fields === null ? 'a changed profile' : `changed: ${fields}`,
      before: 'as it was',
      where: null,
      why: null,
    },
  ];
}

function toolchainDifferences(now: DayMade, before: DayMade): Difference[] {
  const known = new Set(before.toolchains.map(({ digest }) => digest));
  const fresh = now.toolchains.filter(({ digest }) => !known.has(digest));
  if (fresh.length === 0 || before.toolchains.length === 0) return [];
  const words = (list: DayMade['toolchains']): string => listed(list.map((one) => one.words));
  const sameWords = words(fresh) === words(before.toolchains);
  return [
    {
      what: 'toolchain',
      profile: null,
      now: sameWords ? `${words(fresh)}, another build` : words(fresh),
      before: words(before.toolchains),
      where: null,
      why: null,
    },
  ];
}

/** A value that the day before had and this one has not is no difference: a camera rests. */
export function differencesOf(now: DayMade, before: DayMade): Difference[] {
  const ofProfiles = now.profiles.flatMap((profile): Difference[] => {
    const earlier = before.profiles.find(({ name }) => name === profile.name);
    if (earlier !== undefined) return profileDifferences(profile, earlier);
    return [
      {
        what: 'profile',
        profile: profile.name,
        now: 'made',
        before: 'not made',
        where: null,
        why: 'it was not asked for then',
      },
    ];
  });
  const missing = before.profiles
    .filter(({ name }) => !now.profiles.some((profile) => profile.name === name))
    .map(
      ({ name }): Difference => ({
        what: 'profile',
        profile: name,
        now: 'not made',
        before: 'made',
        where: null,
        why: 'it is not asked for',
      }),
    );
  return [...toolchainDifferences(now, before), ...ofProfiles, ...missing];
}

/** The same as notes: they hold nothing. */
export function differenceNotes(day: string, { before, differences }: DayDifferences): Finding[] {
  return differences.map(({ what, profile, now, before: was, where, why }) =>
    finding(
      'day-made-otherwise',
      [
        `${day}, ${what}: ${now}`,
        ...(where === null ? [] : [`in ${where}`]),
        ...(why === null ? [] : [why]),
      ].join('; '),
      `as on ${before ?? 'the day before'}: ${was}`,
      profile === null ? {} : { profile },
    ),
  );
}
