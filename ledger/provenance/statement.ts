/**
 * An in-toto Statement: which files (subjects, by digest) something (the predicate) is said of. Source: in-toto
 * Attestation Framework, spec/v1 (statement.md, resource_descriptor.md, digest_set.md, field_types.md, parsing rules).
 */
import { z } from 'zod';

export const STATEMENT_TYPE = 'https://in-toto.io/Statement/v1';
/** `payloadType` of an envelope that carries a statement (spec/v1/envelope.md). */
export const STATEMENT_MEDIA_TYPE = 'application/vnd.in-toto+json';

/** A TypeURI or ResourceURI: absolute, its scheme in small letters (RFC 3986, 6.2.2.1). */
const uri = z.string().regex(/^[a-z][a-z0-9+.-]*:\S+$/, 'an absolute URI, its scheme in small letters');

/** Digests by algorithm; for those of the SHA family lower-case hex. */
const digestSetSchema = z
  .record(z.string().min(1), z.string().min(1))
  .refine((set) => Object.keys(set).length > 0, 'at least one digest');

export const resourceDescriptorSchema = z
  .looseObject({
    name: z.string().optional(),
    uri: uri.optional(),
    digest: digestSetSchema.optional(),
    /** Base64. */
    content: z.string().optional(),
    downloadLocation: uri.optional(),
    mediaType: z.string().optional(),
    annotations: z.record(z.string(), z.unknown()).optional(),
  })
  .refine(
    ({ uri: at, digest, content }) => at !== undefined || digest !== undefined || content !== undefined,
    'one of uri, digest and content',
  );

/** Fields that are not known are kept and mean nothing, as the parsing rules ask. */
export const statementSchema = z.looseObject({
  _type: z.literal(STATEMENT_TYPE),
  subject: z.array(
    resourceDescriptorSchema.refine(({ digest }) => digest !== undefined, 'every subject has a digest'),
  ),
  predicateType: uri,
  /** Left out is the same as empty. */
  predicate: z.record(z.string(), z.unknown()).default({}),
});
export type Statement = z.infer<typeof statementSchema>;
