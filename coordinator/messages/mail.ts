/** A message to people, by e-mail. A password goes over TLS, or to this machine alone. */
import { createTransport } from 'nodemailer';
import { codeOf } from '../../files/error-code.ts';
import { isLoopback } from '../../serve/address.ts';
import type { NamedMessage } from './message.ts';
import { type MailReceiver, mailTypes } from './schema.ts';
import { readSecret } from './secret.ts';
import { keyOf, RefusedForGoodError, type Sender } from './sender.ts';

/** RFC 8314, 3.3: TLS from the first byte. */
const IMPLICIT_TLS_PORT = 465;

/** Throws FindingError (exit 2) for a password that cannot be used. */
export async function mailSender(receiver: MailReceiver): Promise<Sender> {
  const { server, user, password_file, from, to, on } = receiver;
  const cut = server.lastIndexOf(':');
  const [host, port] = [server.slice(0, cut), Number(server.slice(cut + 1))];
  const pass =
    password_file === undefined
      ? undefined
      : await readSecret(password_file, 'a password on one line', () => true);
  const wanted: readonly string[] = on ?? mailTypes;
  return {
    key: keyOf('mail', server, from, ...to),
    name: `mail by ${host}`,
    wants: (type) => wanted.includes(type),
    async send(named, signal) {
      const transport = createTransport({
        ...{ host, port, secure: port === IMPLICIT_TLS_PORT, requireTLS: !isLoopback(host) },
        ...(isLoopback(host) ? { ignoreTLS: port !== IMPLICIT_TLS_PORT } : {}),
        ...(user === undefined ? {} : { auth: { user, pass: pass ?? '' } }),
        ...{ connectionTimeout: 10_000, greetingTimeout: 10_000, socketTimeout: 10_000 },
        // What a message says is text: nothing in it names a file or an address to be fetched.
        ...{ disableFileAccess: true, disableUrlAccess: true, logger: false },
      });
      const onAbort = (): void => transport.close();
      signal.addEventListener('abort', onAbort, { once: true });
      try {
        signal.throwIfAborted();
        await Promise.race([
          transport.sendMail({ from, to: [...to], ...mailOf(named) }),
          new Promise<never>((_, reject) =>
            signal.addEventListener('abort', () => reject(signal.reason), { once: true }),
          ),
        ]);
      } catch (error) {
        const code = (error as { readonly responseCode?: number }).responseCode ?? 0;
        // RFC 5321, 4.2.1: 5yz will be said again to the same. 530 to 538 speak of the log-in (RFC 4954), which somebody may set right.
        if (code >= 550 && code < 560) throw new RefusedForGoodError(`it answered ${code}`);
        // The text may repeat what was sent.
        throw new Error(code === 0 ? codeOf(error) || 'no answer in time' : `it answered ${code}`);
      } finally {
        signal.removeEventListener('abort', onAbort);
        transport.close();
      }
    },
  };
}

/** One message has one Message-ID, however often it is sent. */
export function mailOf({ id, message: { type, timestamp, data } }: NamedMessage) {
  const lines = [
    data.text,
    '',
    ...data.findings.flatMap(({ code, text }) => [`[${code}] ${text}`, '']),
    ...(data.more > 0 ? [`and ${data.more} more`, ''] : []),
    `Delivery: ${data.delivery}`,
    `At: ${timestamp}`,
  ];
  return {
    subject: data.text.slice(0, 200),
    text: `${lines.join('\n')}\n`,
    messageId: `<${id}@rushlight.invalid>`,
    date: new Date(timestamp),
    headers: { 'Auto-Submitted': 'auto-generated', 'X-Rushlight-Type': type },
  };
}
