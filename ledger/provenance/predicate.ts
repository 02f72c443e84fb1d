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
const digestSchema = z.object({ sha256: sha256Schema });
const namedSchema = z.object({ name: z.string(), digest: digestSchema });

export const predicateSchema = z.object({
  day: z.string(),
  roll: z.string(),
  /** Of roll.json without `decidedAt`, as canonical JSON (RFC 8785): the same whenever the same is decided again. */
  verdict: z.object({ digest: digestSchema }),
  /** Of the roll's sources, as intake read them. */
  manifests: z.array(manifestReadSchema.required({ digests: true })),
  /** `contentDigest`: of the source's files (ledger/clip.ts); `facts`: of what was measured of the source, as canonical JSON. */
  clips: z.array(
    z.object({ name: z.string(), contentDigest: z.string(), facts: z.object({ digest: digestSchema }) }),
  ),
  /** `hash`: of all that was asked (profiles/hash.ts). */
  profiles: z.array(z.object({ name: z.string(), hash: z.string() })),
  /** Tools with their versions and the SHA-256 of what they say of their build. */
  toolchain: toolchainSchema,
  /** Reports and other records that the verdict rests on, by their bytes; names relative to the roll's delivery folder. */
  records: z.array(namedSchema),
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
