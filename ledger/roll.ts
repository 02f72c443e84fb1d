/** A roll as intake found it, and the gate's verdict on it (roll.json). */
import { z } from 'zod';
import { findingSchema, blocks } from '../findings/finding.ts';
import { appliedSettingsSchema } from './applied-settings.ts';
import { clipSchema } from './clip.ts';
import { recordingSchema } from './recording.ts';
import { checkResultSchema } from './report.ts';
import { stillFields } from './stills-report.ts';
import { toolchainSchema } from './toolchain.ts';

/** One file of the roll as read on the working copy. Checksums are lower-case hex, by algorithm name. */
const rollFileSchema = z.object({
  path: z.string().describe('Relative to the roll'),
  bytes: z.int().nonnegative().describe('Size, bytes'),
  hashes: z.record(z.string(), z.string()).describe('Checksums as read, lower-case hex, by algorithm'),
  seen: z
    .string()
    .optional()
    .describe('Size, file number and times that the system gave when it was read; only ever compared'),
});
export type RollFile = z.infer<typeof rollFileSchema>;

const copyResultSchema = z.object({
  folder: z
    .string()
    .describe(
      'Folder of this copy of the roll; `volume:<name>/<path>` where the run named volumes that it lies in',
    ),
  files: z.int().nonnegative().describe('Files that were read'),
  bytes: z.int().nonnegative().describe('Bytes that were read'),
  verified: z
    .boolean()
    .describe('Every listed file was read whole and equals the manifests, and nothing else is there'),
  oneWith: z
    .string()
    .optional()
    .describe(
      'Folder of an earlier copy that it cannot be told apart from: the two count as one copy. Absent: it is told apart',
    ),
  seen: z
    .string()
    .optional()
    .describe(
      'SHA-256 over file numbers and times of its files, by which the same drive is recognised under another name; absent: its file system has no numbers that last',
    ),
});
export type CopyResult = z.infer<typeof copyResultSchema>;

/** How many copies there are, those that cannot be told apart counted as one. */
export function countCopies(copies: readonly Pick<CopyResult, 'oneWith'>[]): number {
  return copies.filter(({ oneWith }) => oneWith === undefined).length;
}

/** What a roll was proved against. `file`: its full path; of a history its folder. */
export const manifestReadSchema = z.object({
  file: z.string().describe('Its full path, or in a volume as of copies; of a history that of its folder'),
  kind: z.string().describe('asc-mhl, hash-list-1, checksum-file'),
  files: z.int().nonnegative().describe('How many files it lists'),
  digests: z
    .array(z.object({ file: z.string().describe('The file'), sha256: z.string().describe('Lower-case hex') }))
    .optional()
    .describe('SHA-256 of each file that the manifest consists of; absent in older records'),
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

const unusedClipSchema = clipSchema.pick({ id: true, name: true, place: true });
export type UnusedClip = z.infer<typeof unusedClipSchema>;

export const verdicts = ['ready', 'held'] as const;
/** Fields that are `optional` here are absent in records of older versions; the audit holds a roll whose record lacks one. */
export const rollVerdictSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('roll').describe('roll'),
  verdict: z
    .enum(verdicts)
    .describe(
      'ready: every copy is verified and every deliverable passed every check; held: not so, and `findings` say why',
    ),
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  decidedAt: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  toolchain: toolchainSchema.describe('What everything was made and measured with'),
  manifests: z.array(manifestReadSchema).describe('What the copies were compared with'),
  copiesAsked: z
    .int()
    .optional()
    .describe('How many copies were named, the working copy among them; absent in records of older versions'),
  copies: z.array(copyResultSchema).describe('Every copy that was read'),
  profiles: z
    .array(
      z.object({
        name: z.string().describe('Name of the profile'),
        hash: z.string().describe('SHA-256 of the profile without its summary, as canonical JSON (RFC 8785)'),
        checks: z.array(z.string()).describe('Checks that must have passed'),
        profile: z
          .record(z.string(), z.unknown())
          .optional()
          .describe(
            'All of the profile, so that outcomes can be decided again; absent in records of older versions',
          ),
      }),
    )
    .describe('What was asked for: every profile that is due of one of the clips'),
  timeZone: z
    .string()
    .optional()
    .describe(
      'Of the show, as the settings state it, by its name in the IANA Time Zone Database: in which times are shown to people. Absent: UTC',
    ),
  clips: z
    .array(
      z.object({
        clip: clipSchema.describe('The clip'),
        verdict: z.enum(verdicts).describe('Of this clip'),
        settings: appliedSettingsSchema
          .optional()
          .describe(
            'Which profiles are due of it and by which settings it was made; absent in records of older versions',
          ),
        deliverables: z
          .array(
            z.object({
              profile: z.string().describe('Name of the profile'),
              state: z.string().describe('published, publishing, failed, or absent when there is no report'),
              file: z
                .string()
                .nullable()
                .describe('Path relative to the folder of roll.json; null: nothing was published'),
              bytes: z
                .int()
                .nullable()
                .describe('Size of the file, or of all files of a folder; null: nothing was published'),
              files: z
                .int()
                .optional()
                .describe('Of a folder, how many files; the digests are then of its checksum list'),
              xxh128: z.string().nullable().describe('XXH128, lower-case hex; null: nothing was published'),
              sha256: z
                .string()
                .nullable()
                .optional()
                .describe(
                  'SHA-256, lower-case hex; null: nothing was published; absent in records of older versions',
                ),
              checks: z
                .array(checkResultSchema)
                .optional()
                .describe('Every check that ran; absent in records of older versions'),
            }),
          )
          .describe('One for each profile that is due of it'),
        stills: z
          .array(
            z.object({
              ...stillFields,
              file: z.string().describe('Path relative to the folder of roll.json'),
            }),
          )
          .optional()
          .describe('Pictures of a few frames, to look at, in the order of the clip; absent: none are due'),
      }),
    )
    .describe('Every clip of the roll'),
  unused: z
    .array(unusedClipSchema)
    .optional()
    .describe(
      'Of a pull: clips of the roll that the cut does not use, of which nothing is made. Absent: it is none',
    ),
  recordings: z
    .array(recordingSchema)
    .optional()
    .describe('Of a sound roll, which has no clip: its takes. Absent: it is none'),
  otherFiles: z
    .array(z.string())
    .describe('Files of the roll that are no clips, so that nothing is silently left out'),
  findings: z.array(findingSchema).describe('Everything that was found, what blocks and what is only noted'),
});
export type RollVerdict = z.infer<typeof rollVerdictSchema>;
