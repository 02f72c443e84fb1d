/**
 * What is written down of the work. The worker writes one deliverable report per clip and profile, whole, never merged;
 * the coordinator assembles them into the clip report, which is for people and for the handover.
 */
import { z } from 'zod';
import { findingSchema } from '../findings/finding.ts';
import { clipFactsSchema } from '../media/facts.ts';
import { contentLightSchema } from '../proof/light/form.ts';
import { anyOutcomeSchema } from '../profiles/outcome/any.ts';
import { checkResultSchema } from './check-result.ts';
import { clipSchema } from './clip.ts';
import { stillsReportSchema } from './stills-report.ts';
import { spentSchema } from './spent.ts';
import { toolchainSchema } from './toolchain.ts';

export {
  type CheckResult,
  checkResultSchema,
  type PictureError,
  pictureErrorSchema,
  type ValuesMeasured,
  valuesSchema,
} from './check-result.ts';

/** `publishing`: checked, digest known, rename not yet confirmed. `published`: stands under its final name. `failed`: nothing stands. */
export const deliverableStates = ['publishing', 'published', 'failed'] as const;

export const deliverableReportSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('deliverable').describe('deliverable'),
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  clip: clipSchema.describe('The source'),
  profile: z.string().describe('Name of the profile'),
  profileHash: z
    .string()
    .describe('SHA-256 of the profile without its summary, as canonical JSON (RFC 8785)'),
  toolchain: toolchainSchema.describe('What it was made and measured with'),
  state: z
    .enum(deliverableStates)
    .describe(
      'publishing: checked, and the final name not yet confirmed; published: it has its final name; failed: there is nothing',
    ),
  outcome: anyOutcomeSchema.describe('What it had to come out as, decided before it was made'),
  file: z
    .object({
      path: z.string().describe('Relative to the folder of the roll in the delivery'),
      bytes: z.int().nonnegative().describe('Size of the file, or of all files of a folder'),
      xxh128: z.string().describe('XXH128, lower-case hex; of a folder that of its checksum list'),
      sha256: z
        .string()
        .optional()
        .describe(
          'SHA-256, lower-case hex; of a folder that of its checksum list; absent in records of older versions',
        ),
      files: z.int().positive().optional().describe('How many files, of a folder; absent: it is one file'),
      seen: z
        .string()
        .optional()
        .describe(
          'What the system said of it when it had its final name: size and times, of a folder a digest of them; where it says something else later, the bytes are read again. Absent: it is not known',
        ),
    })
    .nullable()
    .describe('What was published, or is about to be; null when failed'),
  sidecars: z
    .array(
      z.object({
        path: z.string().describe('Relative to the folder of the roll in the delivery'),
        bytes: z.int().nonnegative().describe('Size'),
        xxh128: z.string().describe('XXH128, lower-case hex'),
        sha256: z.string().describe('SHA-256, lower-case hex'),
      }),
    )
    .optional()
    .describe(
      'Files beside a movie that belong to it, in the order in which they get their names, before the movie; absent: none',
    ),
  checksumList: z
    .object({
      path: z.string().describe('Below the folder of the roll'),
      sha256: z.string().describe('SHA-256 of the text'),
    })
    .optional()
    .describe('Of a folder, its checksum list; absent: it is one file'),
  fingerprints: z
    .object({
      path: z.string().describe('Below the folder of the roll'),
      sha256: z.string().describe('SHA-256 of the content before compression'),
    })
    .optional()
    .describe(
      'Fingerprints or pixel samples of the source that it was proved by; absent: it was never proved so',
    ),
  errorSketch: z
    .object({
      path: z.string().describe('Below the folder of the roll'),
      sha256: z.string().describe('SHA-256 of the content before compression'),
    })
    .optional()
    .describe(
      'Sketch of what the encoder was given, by which the error of every frame is measured; absent: nothing is lost, or it was never measured',
    ),
  contentLight: contentLightSchema
    .optional()
    .describe(
      'How much light was measured in what the encoder was given, as the stream says it; absent: the stream says nothing of it',
    ),
  bitstream: z
    .object({
      streams: z
        .array(
          z.object({
            kind: z.string().describe('v: picture; a: audio'),
            hash: z.string().describe('MurmurHash3, 128 bits, of the packets; finds faults, not forgers'),
          }),
        )
        .describe('In order'),
    })
    .optional()
    .describe('What left the encoders, stream by stream; absent in records of older versions'),
  supersedes: z
    .array(z.string())
    .optional()
    .describe(
      'Digests of older files of ours that may still stand under the final name (made with another profile or toolchain, or before a crash): only these are ever replaced',
    ),
  staged: z
    .string()
    .optional()
    .describe(
      'Of a folder, or a movie with files beside it, while it is `publishing`: its name until it has the final one, in the same folder; of files beside it the same with their own extensions',
    ),
  facts: clipFactsSchema.nullable().describe('Measured from the staged file'),
  checks: z.array(checkResultSchema).describe('Every check that ran'),
  findings: z.array(findingSchema).describe('What was found wrong, and notes'),
  startedAt: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  finishedAt: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  host: z.string().describe('Name of the machine, for people'),
  run: z
    .string()
    .optional()
    .describe('`run` of the job that wrote it: separates a failure of this run from an older one'),
  attempt: z.int().positive().describe('Which try at the job, from 1'),
  claim: z
    .int()
    .positive()
    .optional()
    .describe(
      'On a farm: the number under which it was written, which only grows; who has a lower one replaces nothing of it. Absent: one machine',
    ),
  workersLost: z
    .int()
    .nonnegative()
    .optional()
    .describe('Workers that were lost at the job before; absent: none'),
  spent: spentSchema
    .optional()
    .describe(
      'How long its job and its checks took; absent: nothing was published, or an older version wrote it',
    ),
  command: z.array(z.string()).describe("The encoder's command line, as it ran"),
});
export type DeliverableReport = z.infer<typeof deliverableReportSchema>;

export const clipReportSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('clip').describe('clip'),
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  clip: clipSchema.describe('The clip'),
  facts: clipFactsSchema.nullable().describe('What was measured of the source; null: it could not be'),
  deliverables: z
    .array(
      z.object({
        profile: z.string().describe('Name of the profile'),
        profileHash: z.string().describe('As in the report'),
        report: deliverableReportSchema.nullable().describe('null: nothing was reported'),
      }),
    )
    .describe('Profiles that the run asked for, and what came of each'),
  stills: stillsReportSchema
    .nullable()
    .optional()
    .describe(
      'Pictures of a few frames, to look at; null: they were asked for and nothing was reported; absent: none are due',
    ),
  findings: z.array(findingSchema).describe('Everything that was found about this clip'),
  verdict: z.enum(['ready', 'held']).describe('ready or held, of this clip'),
});
export type ClipReport = z.infer<typeof clipReportSchema>;
