/** An outcome says everything: what it leaves out would be asked of nobody, and the check of it would not run. */
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import type { Interpretation } from '../../media/interpretation.ts';
import { linearisationSchema } from '../../profiles/master/linearisation.ts';
import { masterOutcomeSchema } from '../../profiles/master/outcome.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { outcomeSchema } from '../../profiles/outcome.ts';
import { type AnyOutcome, anyOutcomeSchema, decideOutcome } from '../../profiles/outcome/any.ts';
import { faultsIn } from '../support/schemas.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { clip, report } from '../support/world.ts';

const log: Interpretation = {
  input: { name: 'slog3-sgamut3cine' },
  inputFrom: 'show',
  raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
  owner: '',
  comments: '',
};

async function outcomeIn(name: string): Promise<AnyOutcome> {
  const { profiles } = await loadProfiles({ wanted: [name] });
  const profile = profiles[0]?.profile;
  if (profile === undefined) throw new Error(`no profile ${name}`);
  const facts = clipFacts(profile.kind === 'master' ? { interpretation: log } : {});
  const { outcome } = decideOutcome({ day: 'day-01', roll: 'A001', clip: clipNamed('bell'), facts, profile });
  if (outcome === null) throw new Error(`refused in ${name}`);
  return outcome;
}

type Path = readonly (string | number)[];
/** Every field of a value, at any depth. */
function fieldsOf(value: unknown, path: Path = []): Path[] {
  if (typeof value !== 'object' || value === null) return [];
  return Object.entries(value).flatMap(([key, below]) => [
    ...(Array.isArray(value) ? [] : [[...path, key]]),
    ...fieldsOf(below, [...path, key]),
  ]);
}
function without(value: unknown, [key, ...rest]: Path): unknown {
  if (typeof value !== 'object' || value === null || key === undefined) return value;
  if (Array.isArray(value))
    return value.map((item: unknown, index) => (String(index) === String(key) ? without(item, rest) : item));
  return Object.fromEntries(
    Object.entries(value).flatMap(([name, below]) =>
      name !== key ? [[name, below]] : rest.length === 0 ? [] : [[name, without(below, rest)]],
    ),
  );
}

describe.each(['review-h264', 'archive-ffv1', 'grading-master-4444', 'grading-master-exr', 'dpx-10'])(
  'of an outcome in %s',
  (name) => {
    test('no field can be left out, whatever it is of', async () => {
      const outcome = await outcomeIn(name);
      const whole = { ...report(clip, 'cut', 'hash-cut'), outcome };
      expect(anyOutcomeSchema.safeParse(outcome).success).toBe(true);
      expect(faultsIn('deliverable-report', whole)).toEqual([]);
      const fields = fieldsOf(outcome);
      expect(fields.length).toBeGreaterThan(40);
      const taken = fields.filter((path) => anyOutcomeSchema.safeParse(without(outcome, path)).success);
      expect(taken.map((path) => path.join('.'))).toEqual([]);
      // The published schema asks for the same.
      const published = fields.filter(
        (path) => faultsIn('deliverable-report', { ...whole, outcome: without(outcome, path) }).length === 0,
      );
      expect(published.map((path) => path.join('.'))).toEqual([]);
    });
  },
);

/** What an input transform leaves out has one meaning, which its own page gives (docs/settings.md). */
const OPTIONAL_INSIDE = new Set(['input']);
type Node = { readonly [key: string]: unknown };
const isNode = (value: unknown): value is Node => typeof value === 'object' && value !== null;

/** Fields that a schema does not ask for, at any depth. */
function optionalIn(node: unknown, path: string): string[] {
  if (Array.isArray(node)) return node.flatMap((item) => optionalIn(item, path));
  if (!isNode(node)) return [];
  const { properties, required = [] } = node;
  const own = isNode(properties)
    ? Object.keys(properties).filter((key) => !(required as string[]).includes(key))
    : [];
  return [
    ...own.map((key) => `${path}.${key}`),
    ...Object.entries(node).flatMap(([key, below]) =>
      key === 'properties' && isNode(below)
        ? Object.entries(below).flatMap(([name, field]) =>
            OPTIONAL_INSIDE.has(name) ? [] : optionalIn(field, `${path}.${name}`),
          )
        : optionalIn(below, path),
    ),
  ];
}

test.each([
  ['movie', outcomeSchema],
  ['frames', masterOutcomeSchema],
  ['linearisation', linearisationSchema],
] as const)('the form of an outcome, %s, has no field that may be left out', (name, schema) => {
  // Names that other files gave to schemas would take parts out of their place.
  const form = z.toJSONSchema(schema, { io: 'input', reused: 'inline', metadata: z.registry() });
  expect(optionalIn(form, name)).toEqual([]);
});
