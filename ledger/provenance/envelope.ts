/**
 * A DSSE envelope: bytes, what they are, and signatures over both. Source: Dead Simple Signing Envelope v1 (protocol.md,
 * envelope.md). What is signed is never JSON but its bytes, so nothing here depends on how JSON is written.
 */
import { z } from 'zod';

/** Standard or URL-safe alphabet, as the protocol asks of whoever verifies; padded, and nothing else in between. */
export function bytesOfBase64(text: string): Buffer | null {
  if (!/^(?:[A-Za-z0-9+/]*|[A-Za-z0-9_-]*)={0,2}$/.test(text) || text.length % 4 !== 0) return null;
  const bytes = Buffer.from(text, 'base64');
  // Bits that no byte takes up would let one signature be written in several ways.
  return bytes.toString('base64') === text.replaceAll('-', '+').replaceAll('_', '/') ? bytes : null;
}

const base64 = z.string().transform((text, context) => {
  const bytes = bytesOfBase64(text);
  if (bytes !== null) return bytes;
  context.addIssue({ code: 'custom', message: 'base64 is expected' });
  return z.NEVER;
});

/** Read: `payload` and every `sig` as bytes. `keyid` is a hint and decides nothing. */
export const envelopeSchema = z.looseObject({
  payload: base64,
  payloadType: z.string(),
  signatures: z.array(z.looseObject({ keyid: z.string().optional(), sig: base64 })).min(1),
});
export type Envelope = z.infer<typeof envelopeSchema>;

/** Pre-authentication encoding: what a signature is made over. Lengths are bytes. */
export function pae(payloadType: string, payload: Buffer): Buffer {
  const type = Buffer.from(payloadType, 'utf8');
  return Buffer.concat([
    Buffer.from(`DSSEv1 ${type.length} `),
    type,
    Buffer.from(` ${payload.length} `),
    payload,
  ]);
}

export interface Signature {
  readonly keyid?: string | undefined;
  readonly sig: Buffer;
}

export function envelopeBytes(
  payloadType: string,
  payload: Buffer,
  signatures: readonly Signature[],
): Buffer {
  const envelope = {
    payload: payload.toString('base64'),
    payloadType,
    signatures: signatures.map(({ keyid, sig }) => ({ keyid, sig: sig.toString('base64') })),
  };
  return Buffer.from(`${JSON.stringify(envelope, null, 2)}\n`);
}
