/** Whoever reads is told what changed; who looks at the records is asked seldom, and a drive that hangs keeps nobody waiting. */
import { once } from 'node:events';
import { createServer, get, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterEach, expect, test } from 'vitest';
import { type Feed, newFeed } from '../../coordinator/live/feed.ts';
import { progressRecord, rollRecord, seenAt, type Staged, stagedRun } from '../support/live.ts';

const running = seenAt({
  state: 'running',
  record: progressRecord({ rolls: [rollRecord('A001', 'making')] }),
});

const servers: Server[] = [];
afterEach(() => {
  for (const server of servers.splice(0)) {
    server.closeAllConnections();
    server.close();
  }
});

interface Reader {
  readonly events: () => readonly (readonly [name: string, data: Record<string, unknown>])[];
  readonly close: () => void;
}

async function reading(feed: Feed): Promise<Reader> {
  const server = createServer((_request, response) => void feed.add(response, {}));
  servers.push(server);
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  let text = '';
  const request = get({ host: '127.0.0.1', port: (server.address() as AddressInfo).port }, (response) =>
    response.setEncoding('utf8').on('data', (part: string) => void (text += part)),
  );
  request.on('error', () => undefined);
  return {
    events: () =>
      [...text.matchAll(/^event: (\w+)\ndata: (.*)$/gm)].map(([, name = '', data = '']) => [
        name,
        JSON.parse(data) as Record<string, unknown>,
      ]),
    close: () => request.destroy(),
  };
}

const feedOf = (watched: Staged): Feed =>
  newFeed({ watched, serves: false, lookMilliseconds: 10, patienceMilliseconds: 50 });

test('without a reader nobody looks; with one, changes come numbered one by one', async () => {
  const staged = stagedRun(running);
  const feed = feedOf(staged);
  await new Promise((resolve) => setTimeout(resolve, 60));
  expect(staged.looks).toBe(0);
  const reader = await reading(feed);
  await expect.poll(() => reader.events().length).toBe(1);
  expect(reader.events()[0]?.[0]).toBe('whole');
  const first = Number(reader.events()[0]?.[1].number);
  for (const framesMade of [101, 102, 103]) {
    staged.seen = seenAt({
      ...running,
      record: progressRecord({ rolls: [rollRecord('A001', 'making', { framesMade })] }),
    });
    await expect
      .poll(() => JSON.stringify(reader.events().at(-1)?.[1]))
      .toContain(`making ${framesMade} of 400`);
  }
  expect(reader.events().slice(1)).toEqual(
    [101, 102, 103].map((framesMade, at) => [
      'changes',
      {
        number: first + 1 + at,
        lists: {
          rolls: {
            rows: {
              A001: {
                text: expect.stringContaining(`making ${framesMade} of 400 frames`),
                share: (framesMade / 400).toFixed(3),
              },
            },
          },
        },
      },
    ]),
  );
  reader.close();
});

test('records that cannot be read are said, and what was shown stays', async () => {
  const staged = stagedRun(running);
  const feed = feedOf(staged);
  const reader = await reading(feed);
  await expect.poll(() => reader.events().length).toBe(1);
  const look = staged.look;
  staged.look = () => Promise.reject(Object.assign(new Error('read'), { code: 'EIO' }));
  await expect.poll(() => JSON.stringify(reader.events().at(-1))).toContain('cannot be read (EIO)');
  expect((await feed.view()).texts.headline).toContain('At work.');
  staged.look = look;
  await expect.poll(() => reader.events().at(-1)?.[1]).toMatchObject({ texts: { quiet: '' } });
  reader.close();
});

test('a drive that hangs keeps no page from being shown, and is said', async () => {
  const staged = stagedRun(running);
  const feed = feedOf(staged);
  await feed.view();
  staged.look = () => new Promise(() => undefined);
  await expect.poll(async () => (await feed.view()).texts.quiet).toContain('its drives do not answer');
  const reader = await reading(feed);
  await expect.poll(() => reader.events().length).toBeGreaterThan(0);
  expect(reader.events()[0]?.[0]).toBe('whole');
  // Nor the end of it.
  await feed.end();
  await expect.poll(() => reader.events().at(-1)?.[0]).toBe('end');
});

test('the end is told with what came of it', async () => {
  const staged = stagedRun(running);
  const feed = feedOf(staged);
  const reader = await reading(feed);
  await expect.poll(() => reader.events().length).toBe(1);
  staged.seen = seenAt({ state: 'interrupted' });
  await feed.end();
  await expect.poll(() => reader.events().map(([name]) => name)).toEqual(['whole', 'changes', 'end']);
  expect(reader.events()[1]?.[1]).toMatchObject({ texts: { state: 'interrupted' } });
});
