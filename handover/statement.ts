/** What binds a handover: an in-toto statement that names every file of it, and the statements of the rolls that it was written from. */
import { z } from 'zod';
import { STATEMENT_TYPE } from '../ledger/provenance/statement.ts';
import type { DayRoll } from './day.ts';
import type { LeftOut } from './files.ts';

/** A UUID of our own (RFC 9562, version 4) as a URN. The fragment carries the version: raised when a field is taken away or means something else. */
export const HANDOVER_TYPE = 'urn:uuid:08726b2a-e866-4c26-9fe3-ba63493928af#day-handover/v1';

/** Raised when the same records give other files than before: of an older form nobody can say any more what it should be, only that it is what was written. */
export const HANDOVER_FORM = 2;

const sha256 = z.string().regex(/^[0-9a-f]{64}$/, '64 lower-case hex digits');
const named = z.object({
  name: z.string().describe('Path below the folder `handover`, / between parts'),
  digest: z.object({ sha256: sha256.describe('Lower-case hex') }).describe('Of its bytes'),
});

export const handoverPredicateSchema = z.object({
  day: z.string().describe('Name of the shoot day'),
  form: z.int().positive().describe('Raised when the same records give other files than before'),
  rolls: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        folder: z.string().describe("Its folder in the day's folder"),
        statement: z
          .object({
            digest: z.object({ sha256: sha256.describe('Lower-case hex') }).describe('Of its bytes'),
          })
          .describe('The statement of the roll, which names its outputs and records'),
      }),
    )
    .describe('Rolls that are handed over: those that were ready'),
  left: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        clip: z.string().describe('Id of the clip'),
        why: z.string().describe('In words'),
      }),
    )
    .describe('Clips that are in the bins and in no list for editing, and why'),
  earlier: z
    .array(named)
    .describe(
      'Files of the handover before this one, that may still stand while it is written; empty: it is whole',
    ),
});

export const handoverStatementSchema = z.looseObject({
  _type: z.literal(STATEMENT_TYPE).describe('in-toto, version 1'),
  subject: z.array(named).describe('Every file of the handover but this one'),
  predicateType: z.literal(HANDOVER_TYPE).describe('A URN of our own'),
  predicate: handoverPredicateSchema.describe('What the files were written from'),
});
export type HandoverStatement = z.infer<typeof handoverStatementSchema>;

export interface NamedFile {
  readonly path: string;
  readonly sha256: string;
}

export interface HandoverParts {
  readonly day: string;
  readonly rolls: readonly DayRoll[];
  readonly left: readonly LeftOut[];
  readonly files: readonly NamedFile[];
  readonly earlier: readonly NamedFile[];
}

const inOrder = (files: readonly NamedFile[]): { name: string; digest: { sha256: string } }[] =>
  [...files]
    .sort((a, b) => (a.path < b.path ? -1 : 1))
    .map(({ path, sha256: digest }) => ({ name: path, digest: { sha256: digest } }));

/** Pure; the same parts give the same statement. */
export function handoverStatement({ day, rolls, left, files, earlier }: HandoverParts): HandoverStatement {
  return {
    _type: STATEMENT_TYPE,
    subject: inOrder(files),
    predicateType: HANDOVER_TYPE,
    predicate: {
      day,
      form: HANDOVER_FORM,
      rolls: rolls.map(({ roll, folder, records }) => ({
        roll,
        folder,
        statement: { digest: { sha256: records.statement ?? '' } },
      })),
      left: [...left],
      earlier: inOrder(earlier),
    },
  };
}
