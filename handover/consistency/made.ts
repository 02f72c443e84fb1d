/**
 * How the deliverables of a day were made, in the traits that an editor notices when they change from one day to the next. One
 * value for each day, small enough to be kept beside its pages, so that a long show is compared without reading all of it.
 */
import { z } from 'zod';
import type { AppliedSettings } from '../../ledger/applied-settings.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import { reasonOf } from './reason.ts';
import { type Trait, traits, traitsOf } from './traits.ts';

const valueSchema = z.object({
  value: z.string().describe('In words'),
  clips: z.int().positive().describe('How many have it'),
  first: z.array(z.string()).describe('The first of them, `<roll> <clip>`'),
  because: z
    .string()
    .nullable()
    .describe('What of the clip or the settings it follows from; null: nothing is known'),
});
export type TraitValue = z.infer<typeof valueSchema>;

export const dayMadeSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('made').describe('made'),
  day: z.string().describe('Name of the shoot day'),
  rolls: z.int().nonnegative().describe('How many have a record'),
  ready: z.int().nonnegative().describe('How many of them were ready'),
  clips: z.int().nonnegative().describe('How many they have'),
  tenths: z.int().nonnegative().describe('Length of all that could be measured, tenths of a second'),
  toolchains: z
    .array(
      z.object({
        digest: z.string().describe('Of the toolchain, as in roll.json'),
        words: z.string().describe('Its programs and versions'),
      }),
    )
    .describe('With what it was made; several: the day was not made in one go'),
  profiles: z
    .array(
      z.object({
        name: z.string().describe('Name of the profile'),
        forms: z
          .array(
            z.object({
              hash: z.string().describe('As in roll.json'),
              fields: z
                .record(z.string(), z.string())
                .describe('Every field of the profile by its path, as JSON; empty: it is not known'),
            }),
          )
          .describe('What the profile said; several: it was changed within the day'),
        traits: z
          .array(
            z.object({
              trait: z.enum(traits).describe('Which'),
              values: z
                .array(valueSchema)
                .describe('Every value that a deliverable has, the most frequent first'),
            }),
          )
          .describe('How its deliverables came out'),
      }),
    )
    .describe('By name'),
});
export type DayMade = z.infer<typeof dayMadeSchema>;

export interface MadeItem {
  readonly roll: string;
  readonly clip: string;
  readonly profile: {
    readonly name: string;
    readonly hash: string;
    /** null: a record of an older version does not say it. */
    readonly body: Readonly<Record<string, unknown>> | null;
  };
  readonly outcome: AnyOutcome;
  readonly facts: ClipFacts | null;
  readonly settings: AppliedSettings | null;
}

const EXAMPLES = 3;

/** What says nothing of what comes out. */
const SILENT = new Set(['name', 'summary', 'version']);

/** `video.quality` to its value, as JSON. */
function fieldsOf(body: MadeItem['profile']['body']): Record<string, string> {
  const fields: Record<string, string> = {};
  const visit = (value: unknown, path: string): void => {
    if (typeof value === 'object' && value !== null && !Array.isArray(value))
      for (const [key, child] of Object.entries(value)) visit(child, path === '' ? key : `${path}.${key}`);
    else if (!SILENT.has(path)) fields[path] = JSON.stringify(value) ?? 'null';
  };
  visit(body ?? {}, '');
  return fields;
}

type Gathered = Map<Trait, Map<string, { clips: number; first: string[]; because: string | null }>>;

function gather(into: Gathered, item: MadeItem): void {
  for (const [trait, value] of traitsOf(item.outcome, item.profile.body)) {
    const values = into.get(trait) ?? new Map();
    into.set(trait, values);
    const known = values.get(value) ?? { clips: 0, first: [], because: reasonOf(trait, item) };
    values.set(value, known);
    known.clips += 1;
    if (known.first.length < EXAMPLES) known.first.push(`${item.roll} ${item.clip}`);
  }
}

const toolchainWords = ({ recipe, tools }: Pick<Toolchain, 'recipe' | 'tools'>): string =>
  [...tools.map(({ name, version }) => `${name} ${version}`), `recipe ${recipe}`].join(', ');

export interface MadeRequest extends Pick<DayMade, 'rolls' | 'ready' | 'clips' | 'tenths'> {
  readonly day: string;
  readonly toolchains: readonly Toolchain[];
  /** Profiles that are asked for, whether anything is left to make in them or not; absent: those of the items. */
  readonly asked?: readonly MadeItem['profile'][];
  readonly items: Iterable<MadeItem>;
}

export function madeOf({ toolchains, asked = [], items, ...counted }: MadeRequest): DayMade {
  const profiles = new Map<string, { forms: Map<string, Record<string, string>>; traits: Gathered }>();
  const knownOf = ({ name, hash, body }: MadeItem['profile']): { traits: Gathered } => {
    const known = profiles.get(name) ?? { forms: new Map(), traits: new Map() };
    profiles.set(name, known);
    if (!known.forms.has(hash)) known.forms.set(hash, fieldsOf(body));
    return known;
  };
  for (const profile of asked) knownOf(profile);
  for (const item of items) gather(knownOf(item.profile).traits, item);
  const digests = new Map(toolchains.map((one) => [one.digest, toolchainWords(one)]));
  return {
    version: 0,
    kind: 'made',
    ...counted,
    toolchains: [...digests]
      .map(([digest, words]) => ({ digest, words }))
      .sort((a, b) => (a.digest < b.digest ? -1 : 1)),
    profiles: [...profiles]
      .map(([name, { forms, traits: found }]) => ({
        name,
        forms: [...forms]
          .map(([hash, fields]) => ({ hash, fields }))
          .sort((a, b) => (a.hash < b.hash ? -1 : 1)),
        traits: traits.flatMap((trait) => {
          const values = found.get(trait);
          return values === undefined ? [] : [{ trait, values: inOrder(values) }];
        }),
      }))
      .sort((a, b) => (a.name < b.name ? -1 : 1)),
  };
}

function inOrder(values: ReadonlyMap<string, Omit<TraitValue, 'value'>>): TraitValue[] {
  return [...values]
    .map(([value, rest]) => ({ value, ...rest }))
    .sort((a, b) => b.clips - a.clips || (a.value < b.value ? -1 : 1));
}
