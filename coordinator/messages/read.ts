/** Who is told, from the file of `run --messages` or from that of a coordinator. Secrets are read once, at the beginning. */
import { dirname, resolve } from 'node:path';
import { findingAt, type Path, readDocument } from '../../files/document.ts';
import { FindingError } from '../../findings/finding.ts';
import { mailSender } from './mail.ts';
import { messagesFileSchema, type Receivers } from './schema.ts';
import type { Sender } from './sender.ts';
import { webhookSender } from './webhook.ts';

/** Paths as seen from the file. */
export function receiversFrom(receivers: Receivers, from: (path: string) => string): Receivers {
  return {
    webhooks: (receivers.webhooks ?? []).map((one) => ({ ...one, secret_file: from(one.secret_file) })),
    mail: (receivers.mail ?? []).map((one) => ({
      ...one,
      ...(one.password_file === undefined ? {} : { password_file: from(one.password_file) }),
    })),
  };
}

/** Throws FindingError (exit 2). */
export async function readReceivers(path: string): Promise<Receivers> {
  const origin = resolve(path);
  const codes = {
    missing: 'messages-file-unreadable',
    unreadable: 'messages-file-unreadable',
    form: 'a file as docs/messages.md shows it',
  } as const;
  const read = await readDocument(origin, codes, origin);
  if ('findings' in read) throw new FindingError(read.findings, 2);
  const { document } = read;
  const parsed = messagesFileSchema.safeParse(document.values);
  if (parsed.success) {
    const { webhooks, mail } = parsed.data;
    return receiversFrom({ webhooks, mail }, (file) => resolve(dirname(origin), file));
  }
  throw new FindingError(
    parsed.error.issues.map((issue) =>
      findingAt(
        'messages-value-wrong',
        {
          origin,
          line: document.lineOf(issue.path as Path),
          field: issue.path.join('.'),
        },
        issue.message,
        'a value that docs/messages.md names',
      ),
    ),
    2,
  );
}

/** Throws FindingError (exit 2) for a secret that cannot be used. */
export async function sendersOf({ webhooks = [], mail = [] }: Receivers): Promise<Sender[]> {
  const senders: Sender[] = [];
  for (const one of webhooks) senders.push(await webhookSender(one));
  for (const one of mail) senders.push(await mailSender(one));
  return senders;
}
