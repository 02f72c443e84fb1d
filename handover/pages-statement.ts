/**
 * What binds the pages: an in-toto statement that names every file of them by digest, and the verdicts that they were written from. They speak of held rolls too, so that
 * the statement of the handover, which is of ready ones, does not name them.
 */
import { join } from 'node:path';
import { z } from 'zod';
import { codeOf } from '../files/error-code.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { STATEMENT_TYPE } from '../ledger/provenance/statement.ts';
import { digestOfPlain } from '../ledger/sidecars.ts';
import { readRecord, recordBytes, writeWhole } from '../ledger/store.ts';
import type { DayRoll } from './day.ts';

/** A UUID of our own (RFC 9562, version 4) as a URN. The fragment carries the version: raised when a field is taken away or means something else. */
export const PAGES_TYPE = 'urn:uuid:216b7915-4099-4504-aa54-c25d52647e54#pages/v1';

const sha256 = z.string().regex(/^[0-9a-f]{64}$/, '64 lower-case hex digits');
const digest = z.object({ sha256: sha256.describe('Lower-case hex') }).describe('Of its bytes');

export const pagesPredicateSchema = z.object({
  of: z.enum(['day', 'show']).describe('day: pages of one day; show: the page of all days'),
  day: z.string().nullable().describe('Name of the shoot day; null: all of them'),
  rolls: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        folder: z.string().describe("Its folder in the day's folder"),
        verdict: z.object({ digest }).describe('Its roll.json, as it was when the pages were written'),
      }),
    )
    .describe('Rolls that the pages speak of; of the page of all days none'),
});

export const pagesStatementSchema = z.looseObject({
  _type: z.literal(STATEMENT_TYPE).describe('in-toto, version 1'),
  subject: z
    .array(z.object({ name: z.string().describe('Path from the folder of this file'), digest }))
    .describe('Every page, contact sheet and record of them'),
  predicateType: z.literal(PAGES_TYPE).describe('A URN of our own'),
  predicate: pagesPredicateSchema.describe('What the files were written from'),
});
export type PagesStatement = z.infer<typeof pagesStatementSchema>;

const rollsOf = (rolls: readonly DayRoll[]): PagesStatement['predicate']['rolls'] =>
  rolls.flatMap(({ roll, folder, records }) =>
    records.verdict === null ? [] : [{ roll, folder, verdict: { digest: { sha256: records.verdict } } }],
  );

/** null: none that can be read. */
async function standing(place: string): Promise<PagesStatement | null> {
  const read = await readRecord(place, pagesStatementSchema);
  return read.state === 'read' ? read.value : null;
}

export interface ToBind {
  /** The statement itself. */
  readonly place: string;
  /** Of the files. */
  readonly folder: string;
  /** Written now, below the folder; those that are not there are left out. */
  readonly names: readonly string[];
  /** Files that were not written now and stay named as they were, if their bytes are still those. */
  readonly keeps: (name: string) => boolean;
  readonly predicate: {
    readonly of: 'day' | 'show';
    readonly day: string | null;
    readonly rolls: readonly DayRoll[];
  };
}

/** Writes the statement where it changes; a finding where it cannot be written. */
export async function bindPages({ place, folder, names, keeps, predicate }: ToBind): Promise<Finding | null> {
  const before = await standing(place);
  const subject: PagesStatement['subject'] = [];
  try {
    for (const name of [...new Set(names)]) {
      const there = await digestOfPlain(join(folder, name));
      if (there !== null) subject.push({ name, digest: { sha256: there.sha256 } });
    }
    for (const one of before?.subject ?? []) {
      if (names.includes(one.name) || !keeps(one.name)) continue;
      const there = await digestOfPlain(join(folder, one.name));
      if (there?.sha256 === one.digest.sha256) subject.push(one);
    }
    const bytes = recordBytes(pagesStatementSchema, {
      _type: STATEMENT_TYPE,
      subject: subject.sort((a, b) => (a.name < b.name ? -1 : 1)),
      predicateType: PAGES_TYPE,
      predicate: { of: predicate.of, day: predicate.day, rolls: rollsOf(predicate.rolls) },
    });
    if (before === null || !recordBytes(pagesStatementSchema, before).equals(bytes))
      await writeWhole(place, bytes);
    return null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return finding('page-not-written', codeOf(error), 'a place that can be written', { file: place });
  }
}

export interface ToHold {
  readonly place: string;
  readonly folder: string;
  /** Below the folder, of ours by their names, that lie there. */
  readonly there: readonly string[];
  /** As they are now. */
  readonly rolls: readonly DayRoll[];
  /** How the folder is called in findings, with a slash behind it; '' for that which is audited. */
  readonly below: string;
}

/** Each file against the statement, and the statement against the verdicts as they are now. */
export async function auditPages({ place, folder, there, rolls, below }: ToHold): Promise<Finding[]> {
  const at = (name: string): { file: string } => ({ file: `${below}${name}` });
  const own = place.slice(folder.length + 1);
  const read = await readRecord(place, pagesStatementSchema);
  if (read.state === 'damaged')
    return [finding('page-differs', read.finding.found, 'a statement of the pages', at(own))];
  if (read.state === 'absent')
    return there.length === 0
      ? []
      : [finding('page-differs', 'no statement of the pages', 'one that names each of them', at(own))];
  const { subject, predicate } = read.value;
  const findings: Finding[] = [];
  for (const { name, digest: stated } of subject) {
    const found = await digestOfPlain(join(folder, name));
    if (found?.sha256 !== stated.sha256)
      findings.push(
        finding(
          'page-differs',
          found === null ? 'no such file' : `SHA-256 ${found.sha256}`,
          `SHA-256 ${stated.sha256}, as its statement says`,
          at(name),
        ),
      );
  }
  const named = new Set(subject.map(({ name }) => name));
  for (const name of there)
    if (!named.has(name))
      findings.push(
        finding('page-differs', 'a file that its statement does not name', 'named files only', at(name)),
      );
  const [then, now] = [predicate.rolls, rollsOf(rolls)].map(
    (list) => new Map(list.map(({ roll, verdict }) => [roll, verdict.digest.sha256])),
  ) as [Map<string, string>, Map<string, string>];
  const changed = [...new Set([...then.keys(), ...now.keys()])].filter(
    (roll) => then.get(roll) !== now.get(roll),
  );
  if (predicate.of === 'day' && changed.length > 0)
    findings.push(
      finding(
        'page-outdated',
        `other verdicts since of ${changed.sort().join(', ')}`,
        'pages of the verdicts as they are now',
        at(own),
      ),
    );
  return findings;
}
