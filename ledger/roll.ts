/** A roll as intake found it, and the gate's verdict on it (roll.json). */
import { z } from 'zod';
import { findingSchema, blocks } from '../findings/finding.ts';
import { clipSchema } from './clip.ts';
import { checkResultSchema } from './report.ts';
import { toolchainSchema } from './toolchain.ts';

/** One file of the roll as read on the working copy. Checksums are lower-case hex, by algorithm name. */
const rollFileSchema = z.object({
  path: z.string(),
  bytes: z.int().nonnegative(),
  hashes: z.record(z.string(), z.string()),
});
export type RollFile = z.infer<typeof rollFileSchema>;

const copyResultSchema = z.object({
  /** Folder of this copy of the roll. */
  folder: z.string(),
  files: z.int().nonnegative(),
  bytes: z.int().nonnegative(),
  /** True when every file listed by the manifest was read whole and equals it, and nothing else lies there. */
  verified: z.boolean(),
});
export type CopyResult = z.infer<typeof copyResultSchema>;

/** What a roll was proved against. `file`: its full path; of a history its folder. */
export const manifestReadSchema = z.object({
  file: z.string(),
  kind: z.string(),
  /** How many files it lists. */
  files: z.int().nonnegative(),
  /** Of the bytes as they were read: of the file itself, or of every file in a history's folder. Absent in records of older versions. */
  digests: z.array(z.object({ file: z.string(), sha256: z.string() })).optional(),
});

/** What intake knows of one roll. Only one that `isVerified` may be queued. */
const intakeResultSchema = z.object({
  day: z.string(),
  roll: z.string(),
  folder: z.string(),
  manifests: z.array(manifestReadSchema),
  copies: z.array(copyResultSchema),
  files: z.array(rollFileSchema),
  findings: z.array(findingSchema),
});
export type IntakeResult = z.infer<typeof intakeResultSchema>;

/** There is a copy, every byte of every copy equals its manifest, and nothing was found that holds the roll. */
export function isVerified({ copies, findings }: Pick<IntakeResult, 'copies' | 'findings'>): boolean {
  return copies.length > 0 && copies.every((copy) => copy.verified) && !findings.some(blocks);
}

export const verdicts = ['ready', 'held'] as const;
/** Fields that are `optional` here are absent in records of older versions; the audit holds a roll whose record lacks one. */
export const rollVerdictSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('roll'),
  verdict: z.enum(verdicts),
  day: z.string(),
  roll: z.string(),
  /** ISO 8601 UTC. */
  decidedAt: z.string(),
  toolchain: toolchainSchema,
  manifests: z.array(manifestReadSchema),
  /** How many copies the night was told of, the shoot day's own among them. */
  copiesAsked: z.int().optional(),
  copies: z.array(copyResultSchema),
  /** `checks`: those that must have passed; `profile`: all that was asked, so that outcomes can be decided again from the record. */
  profiles: z.array(
    z.object({
      name: z.string(),
      hash: z.string(),
      checks: z.array(z.string()),
      profile: z.record(z.string(), z.unknown()).optional(),
    }),
  ),
  clips: z.array(
    z.object({
      clip: clipSchema,
      verdict: z.enum(verdicts),
      deliverables: z.array(
        z.object({
          profile: z.string(),
          state: z.string(),
          file: z.string().nullable(),
          bytes: z.int().nullable(),
          /** How many files, of one that is a folder; the digests are then of their checksum list. */
          files: z.int().optional(),
          xxh128: z.string().nullable(),
          sha256: z.string().nullable().optional(),
          /** Every check that ran, as its report says. */
          checks: z.array(checkResultSchema).optional(),
        }),
      ),
    }),
  ),
  /** Files of the roll that are no clips, so that nothing is silently left out. */
  otherFiles: z.array(z.string()),
  findings: z.array(findingSchema),
});
export type RollVerdict = z.infer<typeof rollVerdictSchema>;
