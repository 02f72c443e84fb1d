/**
 * What is written down of the work. The worker writes one deliverable report per clip and profile, whole, never merged;
 * the coordinator assembles them into the clip report, which is for people and for the handover.
 */
import { z } from 'zod';
import { findingSchema } from '../findings/finding.ts';
import { clipFactsSchema } from '../media/facts.ts';
import { anyOutcomeSchema } from '../profiles/outcome/any.ts';
import { clipSchema } from './clip.ts';
import { toolchainSchema } from './toolchain.ts';

const checkStatuses = ['passed', 'failed'] as const;
/** One check that ran. A check that could not run is absent, and absent is failed (the gate). */
export const checkResultSchema = z.looseObject({
  check: z.string(),
  status: z.enum(checkStatuses),
  measured: z.string(),
  expected: z.string(),
  /** Program and version that measured. */
  tool: z.string(),
  /** Frames, first and last, counted from 0, about which the check claims nothing of its own. */
  unproven: z.array(z.tuple([z.int(), z.int()])).optional(),
});
export type CheckResult = z.infer<typeof checkResultSchema>;

/** `publishing`: checked, digest known, rename not yet confirmed. `published`: stands under its final name. `failed`: nothing stands. */
export const deliverableStates = ['publishing', 'published', 'failed'] as const;

export const deliverableReportSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('deliverable'),
  day: z.string(),
  roll: z.string(),
  clip: clipSchema,
  profile: z.string(),
  profileHash: z.string(),
  toolchain: toolchainSchema,
  state: z.enum(deliverableStates),
  outcome: anyOutcomeSchema,
  /**
   * Relative to <delivery>/<day>/<roll>; null when failed. `files`: it is a folder of so many files; then `bytes` is of all
   * of them and the digests are of their checksum list (files/checksum-list.ts). Absent: it is a single file.
   */
  file: z
    .object({
      path: z.string(),
      bytes: z.int().nonnegative(),
      xxh128: z.string(),
      /** Absent in records of older versions. */ sha256: z.string().optional(),
      files: z.int().positive().optional(),
    })
    .nullable(),
  /** Of a folder: place of its checksum list below <delivery>/<day>/<roll>, SHA-256 of the text. */
  checksumList: z.object({ path: z.string(), sha256: z.string() }).optional(),
  /** The fingerprints of the source that it was proved by: place below <delivery>/<day>/<roll>, SHA-256 of its content. Absent: it was never proved so. */
  fingerprints: z.object({ path: z.string(), sha256: z.string() }).optional(),
  /** What left the encoders, stream by stream (proof/bitstream.ts). */
  bitstream: z.object({ streams: z.array(z.object({ kind: z.string(), hash: z.string() })) }).optional(),
  /** Digests of older files of ours that may still stand under the final name (made with another profile or toolchain, or before a crash): only these are ever replaced. */
  supersedes: z.array(z.string()).optional(),
  /** Of a folder, while it is `publishing`: its name until it has the final one, in the same folder. */
  staged: z.string().optional(),
  /** Measured from the staged file. */
  facts: clipFactsSchema.nullable(),
  checks: z.array(checkResultSchema),
  findings: z.array(findingSchema),
  /** ISO 8601 UTC, and whole seconds of work; for people, never for decisions. */
  startedAt: z.string(),
  finishedAt: z.string(),
  host: z.string(),
  /** `run` of the job that wrote it: tells a failure of this run from an older one. */
  run: z.string().optional(),
  attempt: z.int().positive(),
  /** Workers that were lost at it before (attempts.ts). Absent: none. */
  workersLost: z.int().nonnegative().optional(),
  /** The encoder's command line, as it ran. */
  command: z.array(z.string()),
});
export type DeliverableReport = z.infer<typeof deliverableReportSchema>;

export const clipReportSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('clip'),
  day: z.string(),
  roll: z.string(),
  clip: clipSchema,
  facts: clipFactsSchema.nullable(),
  /** Profiles that the night asked for, and what came of each. */
  deliverables: z.array(
    z.object({ profile: z.string(), profileHash: z.string(), report: deliverableReportSchema.nullable() }),
  ),
  findings: z.array(findingSchema),
  verdict: z.enum(['ready', 'held']),
});
export type ClipReport = z.infer<typeof clipReportSchema>;
