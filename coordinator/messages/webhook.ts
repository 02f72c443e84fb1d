/**
 * A message to a program, signed by the rule of Standard Webhooks (github.com/standard-webhooks, specification 1.0.0, "Symmetric"):
 * base64 of HMAC-SHA256 over `<id>.<timestamp>.<body>`, the id the same at every attempt, the timestamp that of the attempt, in seconds.
 */
import { createHmac } from 'node:crypto';
import type { NamedMessage } from './message.ts';
import { messageTypes, type WebhookReceiver } from './schema.ts';
import { readSecret } from './secret.ts';
import { keyOf, RefusedForGoodError, type Sender } from './sender.ts';

const PREFIX = 'whsec_';

/** null: the text is no such secret. */
export function secretBytes(text: string): Buffer | null {
  if (!text.startsWith(PREFIX) || !/^[A-Za-z0-9+/]+={0,2}$/.test(text.slice(PREFIX.length))) return null;
  const bytes = Buffer.from(text.slice(PREFIX.length), 'base64');
  return bytes.length >= 24 && bytes.length <= 64 ? bytes : null;
}

export function signedHeaders(
  id: string,
  seconds: number,
  body: string,
  secret: Buffer,
): Record<string, string> {
  const signature = createHmac('sha256', secret).update(`${id}.${seconds}.${body}`).digest('base64');
  return { 'webhook-id': id, 'webhook-timestamp': `${seconds}`, 'webhook-signature': `v1,${signature}` };
}

const GONE = 410;

/** Throws FindingError (exit 2) for a secret that cannot be used. */
export async function webhookSender({ url, secret_file, on }: WebhookReceiver): Promise<Sender> {
  const form = 'whsec_ and 24 to 64 bytes in base64, on one line';
  const secret = secretBytes(await readSecret(secret_file, form, (text) => secretBytes(text) !== null));
  if (secret === null) throw new RangeError(form);
  const wanted: readonly string[] = on ?? messageTypes;
  return {
    key: keyOf('webhook', url),
    // The path of an address may be a secret of the receiver's.
    name: `webhook at ${new URL(url).host}`,
    wants: (type) => wanted.includes(type),
    async send({ id, message }: NamedMessage, signal) {
      const body = JSON.stringify(message);
      const signed = signedHeaders(id, Math.floor(Date.now() / 1_000), body, secret);
      const response = await fetch(url, {
        ...{ method: 'POST', body, signal },
        headers: { 'content-type': 'application/json', 'user-agent': 'rushlight', ...signed },
        // Where another address is named, nobody knows who listens there.
        redirect: 'manual',
      });
      await response.body?.cancel();
      if (response.status === GONE)
        throw new RefusedForGoodError('it answered 410: it takes no more messages');
      if (!response.ok) throw new Error(`it answered ${response.status}`);
    },
  };
}
