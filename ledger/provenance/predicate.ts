/** What our statement says of a roll's outputs: from which sources, by which tools, after which records they are ready. */
import { createHash } from 'node:crypto';
import { z } from 'zod';
import { canonicalJson } from '../../profiles/hash.ts';
import { manifestReadSchema, type RollVerdict } from '../roll.ts';
import { toolchainSchema } from '../toolchain.ts';

/**
 * A UUID of our own (RFC 9562, version 4) as a URN: nobody else has it, and it rests on no host that could be lost. The
 * fragment is for people and carries the version: raised when a field is taken away or means something else.
 */
export const PREDICATE_TYPE = 'urn:uuid:87a06079-6ead-4768-ad33-526c9fea0667#roll-handover/v1';

const sha256Schema = z.string().regex(/^[0-9a-f]{64}$/, '64 lower-case hex digits');
const digestSchema = z.object({ sha256: sha256Schema.describe('Lower-case hex') });
const namedSchema = z.object({
  name: z.string().describe('Path relative to the folder of the roll'),
  digest: digestSchema.describe('Of its bytes'),
});

export const predicateSchema = z.object({
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  verdict: z
    .object({ digest: digestSchema.describe('SHA-256') })
    .describe(
      'Of roll.json without `decidedAt`, as canonical JSON (RFC 8785): the same whenever the same is decided again',
    ),
  manifests: z
    .array(manifestReadSchema.required({ digests: true }))
    .describe("Of the roll's sources, as intake read them"),
  clips: z
    .array(
      z.object({
        name: z.string().describe('Id of the clip'),
        contentDigest: z.string().describe("Of the source's files"),
        facts: z
          .object({ digest: digestSchema.describe('Of its canonical JSON (RFC 8785)') })
          .describe('What was measured of the source'),
      }),
    )
    .describe('Every clip of the roll'),
  profiles: z
    .array(
      z.object({
        name: z.string().describe('Name of the profile'),
        hash: z.string().describe('SHA-256 of the profile without its summary, as canonical JSON (RFC 8785)'),
      }),
    )
    .describe('What was asked for'),
  toolchain: toolchainSchema.describe(
    'Tools with their versions and the SHA-256 of what they say of their build',
  ),
  records: z
    .array(namedSchema)
    .describe(
      "Reports and other records that the verdict rests on, by their bytes; names relative to the roll's delivery folder",
    ),
});
export type Predicate = z.infer<typeof predicateSchema>;

/** SHA-256 of the canonical JSON of a value, hex. What JSON leaves out is left out. */
export function canonicalDigest(value: unknown): string {
  return createHash('sha256')
    .update(canonicalJson(JSON.parse(JSON.stringify(value))))
    .digest('hex');
}

export function verdictDigest(verdict: RollVerdict): string {
  const { decidedAt: _, ...decided } = verdict;
  return canonicalDigest(decided);
}
