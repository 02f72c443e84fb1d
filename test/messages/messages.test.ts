/**
 * Messages as their receivers get them: a webhook that the reference library of Standard Webhooks verifies (npm standardwebhooks, by
 * the specification's own authors), a mail that a real SMTP server takes (npm smtp-server); receivers that hang, refuse, and come back.
 */
import { createServer, type IncomingHttpHeaders, type Server } from 'node:http';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { SMTPServer } from 'smtp-server';
import { Webhook } from 'standardwebhooks';
import { expect, onTestFinished, test } from 'vitest';
import { mailOf } from '../../coordinator/messages/mail.ts';
import { newMessage } from '../../coordinator/messages/message.ts';
import { openOutbox, type OutboxTiming } from '../../coordinator/messages/outbox.ts';
import { sendersOf } from '../../coordinator/messages/read.ts';
import { newTeller } from '../../coordinator/messages/tell.ts';
import { signedHeaders } from '../../coordinator/messages/webhook.ts';
import { FindingError } from '../../findings/finding.ts';
import { freshFolder } from '../support/folder.ts';
import { eventually } from '../support/processes.ts';

const SECRET = `whsec_${Buffer.from('a bell foundry rings at night..!').toString('base64')}`;
const quick: OutboxTiming = { attemptMilliseconds: 30_000, pauses: [50, 100], giveUpMilliseconds: 60_000 };

function secretFile(folder: string, text = SECRET, mode = 0o600): string {
  const file = join(folder, 'secret');
  writeFileSync(file, `${text}\n`, { mode });
  return file;
}

interface Got {
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
}

/** `answer`: status to each request in turn, the last for all after it; null: it never answers. */
async function receiver(...answer: readonly (number | null)[]): Promise<{ url: string; got: Got[] }> {
  const got: Got[] = [];
  const server: Server = createServer((request, response) => {
    let body = '';
    request.setEncoding('utf8').on('data', (text: string) => {
      body += text;
    });
    request.on('end', () => {
      got.push({ headers: request.headers, body });
      const status = answer[Math.min(got.length, answer.length) - 1] ?? null;
      if (status !== null) response.writeHead(status).end();
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  onTestFinished(() => {
    server.closeAllConnections();
    server.close();
  });
  const address = server.address();
  if (address === null || typeof address === 'string') throw new Error('no port');
  return { url: `http://127.0.0.1:${address.port}/hook/of-a-secret-path`, got };
}

const ofDay = { day: 'day-03', delivery: '/volumes/proxies', show: null };
const ready = (roll: string) =>
  newMessage({ ...ofDay, type: 'roll.ready', roll, text: `day-03 ${roll}: ready`, findings: [] });

test('the example of the specification has its signature', () => {
  // Standard Webhooks specification, "Signature scheme", and the README of its libraries: id, timestamp, secret and body with this result (from memory; the library below computes it apart).
  const [id, seconds, body] = [
    'msg_p5jXN8AQM9LWM0D4loKWxJek',
    1_614_265_330,
    '{"test": 2432232314}',
  ] as const;
  const secret = 'MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw';
  const headers = signedHeaders(id, seconds, body, Buffer.from(secret, 'base64'));
  expect(headers['webhook-signature']).toBe('v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=');
  expect(headers['webhook-signature']).toBe(new Webhook(secret).sign(id, new Date(seconds * 1_000), body));
});

test('a program verifies what it is sent; a changed body, another secret and an old time are refused; a second attempt has the id of the first', async () => {
  const folder = freshFolder('messages');
  const { url, got } = await receiver(500, 204);
  const senders = await sendersOf({ webhooks: [{ url, secret_file: secretFile(folder) }] });
  const failures: string[] = [];
  const onFailure = (name: string, why: string): void => void failures.push(`${name} ${why}`);
  const outbox = await openOutbox({ folder: join(folder, 'out'), senders, timing: quick, onFailure });
  outbox.tell(ready('A001'));
  await outbox.end(30_000);
  expect(outbox.counts).toEqual({ waiting: 0, sent: 1, failed: 0, dropped: 0 });
  expect(readdirSync(join(folder, 'out'))).toEqual([]);
  expect(got).toHaveLength(2);
  const [first, second] = got as [Got, Got];
  expect(second.headers['webhook-id']).toBe(first.headers['webhook-id']);
  const headers = second.headers as Record<string, string>;
  expect(new Webhook(SECRET).verify(second.body, headers)).toMatchObject({
    type: 'roll.ready',
    data: { day: 'day-03', roll: 'A001', show: null, findings: [] },
  });
  expect(() => new Webhook(SECRET).verify(second.body.replace('A001', 'A002'), headers)).toThrow();
  expect(() => new Webhook(SECRET.replace('YSBi', 'YSBj')).verify(second.body, headers)).toThrow();
  const old = { ...headers, 'webhook-timestamp': `${Math.floor(Date.now() / 1_000) - 3_600}` };
  expect(() => new Webhook(SECRET).verify(second.body, old)).toThrow();
  // What is logged names neither the path nor the secret.
  expect(failures.join()).toContain('it answered 500');
  expect(failures.join()).not.toMatch(/secret|whsec/);
});

test('one that hangs keeps nobody waiting, and what waits for it is on disk and is sent by the next who opens it', async () => {
  const folder = freshFolder('messages');
  const [hangs, takes] = [await receiver(null), await receiver(204)];
  const secret_file = secretFile(folder);
  const hook = ({ url }: { url: string }) => ({ url, secret_file });
  const open = async (most = 1_000) =>
    await openOutbox({
      ...{ folder: join(folder, 'out'), timing: quick, most, onFailure: () => undefined },
      senders: await sendersOf({ webhooks: [hook(hangs), hook(takes)] }),
    });
  const outbox = await open();
  const began = performance.now();
  for (const roll of ['A001', 'A002', 'A003']) outbox.tell(ready(roll));
  expect(performance.now() - began).toBeLessThan(2_000);
  await eventually(() => outbox.counts.sent === 3, 30_000);
  expect(takes.got.map(({ body }) => (JSON.parse(body) as { data: { roll: string } }).data.roll)).toEqual([
    'A001',
    'A002',
    'A003',
  ]);
  await outbox.end(0);
  const kept = readdirSync(join(folder, 'out'));
  expect(kept).toHaveLength(3);
  for (const name of kept) {
    const text = readFileSync(join(folder, 'out', name), 'utf8');
    expect(text).not.toContain('whsec');
    expect(text).not.toContain('/hook/');
  }
  // Of more than there is room for the oldest go.
  const again = await open(4);
  for (const roll of ['A004', 'A005']) again.tell(ready(roll));
  await eventually(() => again.counts.sent === 2, 30_000);
  // Three waited already, and each of these two is for both receivers.
  expect(again.counts).toMatchObject({ waiting: 2, sent: 2, dropped: 3 });
  await again.end(0);
  expect(readdirSync(join(folder, 'out'))).toHaveLength(2);
  expect(new Set(hangs.got.map(({ headers }) => headers['webhook-id'])).size).toBeLessThanOrEqual(3);
});

test('an attempt that is not answered ends, and another one is made', async () => {
  const folder = freshFolder('messages');
  const { url, got } = await receiver(null, 204);
  const outbox = await openOutbox({
    ...{ folder: join(folder, 'out'), timing: { ...quick, attemptMilliseconds: 3_000 } },
    onFailure: () => undefined,
    senders: await sendersOf({ webhooks: [{ url, secret_file: secretFile(folder) }] }),
  });
  outbox.tell(ready('A001'));
  await eventually(() => outbox.counts.sent === 1, 40_000);
  await outbox.end(0);
  expect(got.length).toBeGreaterThan(1);
}, 60_000);

test('410 ends it at once, other refusals after their time', async () => {
  const folder = freshFolder('messages');
  const secret_file = secretFile(folder);
  const [gone, refuses] = [await receiver(410), await receiver(503)];
  const outbox = await openOutbox({
    ...{
      folder: join(folder, 'out'),
      timing: { ...quick, giveUpMilliseconds: 300 },
      onFailure: () => undefined,
    },
    senders: await sendersOf({ webhooks: [gone, refuses].map(({ url }) => ({ url, secret_file })) }),
  });
  outbox.tell(ready('A001'));
  await outbox.end(30_000);
  expect(outbox.counts).toMatchObject({ failed: 2, sent: 0 });
  expect(gone.got).toHaveLength(1);
  expect(refuses.got.length).toBeGreaterThan(1);
});

test('a mail server takes what people are told, with a log-in, and its password is in no file but its own', async () => {
  const folder = freshFolder('messages');
  const got: string[] = [];
  const logins: string[] = [];
  const server = new SMTPServer({
    disabledCommands: ['STARTTLS'],
    allowInsecureAuth: true,
    onAuth: ({ username, password }, _session, done) => {
      logins.push(`${username}:${password}`);
      done(null, { user: username });
    },
    onData: (stream, _session, done) => {
      let text = '';
      stream.on('data', (bytes: Buffer) => {
        text += bytes.toString('utf8');
      });
      stream.on('end', () => {
        got.push(text);
        done();
      });
    },
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', () => resolve()));
  onTestFinished(() => new Promise<void>((resolve) => server.close(() => resolve())));
  const address = server.server.address();
  if (address === null || typeof address === 'string') throw new Error('no port');
  const senders = await sendersOf({
    mail: [
      {
        ...{ server: `127.0.0.1:${address.port}`, user: 'night', from: 'night@example.org' },
        ...{ to: ['dit@example.org'], password_file: secretFile(folder, 'swallow swift') },
      },
    ],
  });
  const failures: string[] = [];
  const onFailure = (_name: string, why: string): void => void failures.push(why);
  const outbox = await openOutbox({ folder: join(folder, 'out'), senders, timing: quick, onFailure });
  const teller = newTeller(outbox);
  const finding = {
    code: 'file-checksum-differs',
    roll: 'B002',
    file: 'B002C001.mov',
    found: 'md5 1',
    expected: 'md5 2',
  };
  const result = {
    ...{
      roll: 'B002\r\nBcc: x@example.org',
      verdict: 'held' as const,
      clips: 1,
      clipsReady: 0,
      recordings: 0,
      copies: 1,
    },
    ...{ made: 0, kept: 0, record: null, findings: [finding] },
  };
  teller.decided(ofDay, result);
  // Tried again with the same end: told once.
  teller.decided(ofDay, result);
  await outbox.end(30_000);
  expect(failures).toEqual([]);
  expect(outbox.counts.sent).toBe(1);
  expect(logins).toEqual(['night:swallow swift']);
  expect(got).toHaveLength(1);
  const [head = '', ...parts] = (got[0] as string).split('\r\n\r\n');
  const body = parts.join('\n');
  expect(head).toMatch(/^From: night@example\.org$/m);
  expect(head).toMatch(/^To: dit@example\.org$/m);
  // A name is no header.
  expect(head).not.toMatch(/^Bcc:/m);
  expect(body.replaceAll('=\r\n', '')).toContain('the checksum of a file is not the one in the manifest');
  expect(got[0]).not.toContain('swallow');
});

test('a mail of one message has one id', () => {
  const message = ready('A001');
  expect(mailOf(message).messageId).toBe(mailOf(message).messageId);
});

test('a secret that others can read, and one that is none, is refused by the name of its file alone', async () => {
  const folder = freshFolder('messages');
  const url = 'https://receiver.example.org/';
  const codeOfRefusal = async (file: string): Promise<string[]> => {
    try {
      await sendersOf({ webhooks: [{ url, secret_file: file }] });
      return [];
    } catch (error) {
      if (!(error instanceof FindingError)) throw error;
      expect(JSON.stringify(error.findings)).not.toMatch(/whsec_[A-Za-z0-9]/);
      return error.findings.map(({ code }) => code);
    }
  };
  const [a, b, c] = ['a', 'b', 'c'].map((name) => {
    mkdirSync(join(folder, name));
    return join(folder, name);
  }) as [string, string, string];
  expect(await codeOfRefusal(secretFile(a, SECRET, 0o644))).toEqual(['secret-open-to-others']);
  expect(await codeOfRefusal(secretFile(b, 'whsec_c2hvcnQ='))).toEqual(['secret-unusable']);
  expect(await codeOfRefusal(join(c, 'absent'))).toEqual(['secret-unusable']);
});
