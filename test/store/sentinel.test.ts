/** A shared Redis that sentinels watch over: real ones, of the redis-server that is here. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Redis } from 'ioredis';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { inspectSharedRedis, parseQueueAddress } from '../../coordinator/store/shared.ts';
import { FindingError } from '../../findings/finding.ts';
import { needOf } from '../../ledger/farm.ts';
import { partsOf } from '../../ledger/job-parts.ts';
import { printableAddress, redisOptions } from '../../ledger/queue.ts';
import { runTool } from '../../process/run.ts';
import { jobOf } from '../support/jobs.ts';
import { eventually } from '../support/processes.ts';
import { freePort } from '../support/redis.ts';

const folder = mkdtempSync(join(tmpdir(), 'rushlight-sentinel-'));
const ending = new AbortController();
const ended: Promise<unknown>[] = [];
const password = 'bronze@tin';
let ports: { readonly master: number; readonly replica: number; readonly sentinel: number };

async function answering(port: number, login: string | undefined): Promise<void> {
  const client = new Redis({
    port,
    ...(login === undefined ? {} : { password: login }),
    retryStrategy: () => 50,
    maxRetriesPerRequest: null,
  });
  client.on('error', () => undefined);
  await client.ping();
  client.disconnect();
}

function start(name: string, settings: string, ...words: readonly string[]): void {
  const file = join(folder, `${name}.conf`);
  writeFileSync(file, settings);
  ended.push(runTool('redis-server', [file, ...words], { signal: ending.signal }));
}

async function ask(
  port: number,
  login: string | undefined,
  ...words: [string, ...string[]]
): Promise<unknown> {
  const client = new Redis({ port, ...(login === undefined ? {} : { password: login }) });
  client.on('error', () => undefined);
  try {
    return await client.call(...words);
  } finally {
    client.disconnect();
  }
}

beforeAll(async () => {
  ports = { master: await freePort(), replica: await freePort(), sentinel: await freePort() };
  const common = `bind 127.0.0.1\ndir ${folder}\nsave ""\nappendonly yes\nrequirepass ${password}\nmasterauth ${password}\n`;
  start('master', `${common}port ${ports.master}\nappenddirname master\n`);
  start(
    'replica',
    `${common}port ${ports.replica}\nappenddirname replica\nreplicaof 127.0.0.1 ${ports.master}\nrepl-diskless-sync-delay 0\n`,
  );
  await Promise.all([answering(ports.master, password), answering(ports.replica, password)]);
  start(
    'sentinel',
    `bind 127.0.0.1\nport ${ports.sentinel}\ndir ${folder}\nsentinel monitor bell 127.0.0.1 ${ports.master} 1\nsentinel auth-pass bell ${password}\nsentinel down-after-milliseconds bell 1000\nsentinel failover-timeout bell 5000\n`,
    '--sentinel',
  );
  await answering(ports.sentinel, undefined);
  await eventually(async () =>
    String(await ask(ports.master, password, 'INFO', 'replication')).includes('state=online'),
  );
});
afterAll(async () => {
  ending.abort();
  await Promise.allSettled(ended);
  rmSync(folder, { recursive: true, force: true });
});

const addressOf = (name = 'bell', login = `:${encodeURIComponent(password)}@`): string =>
  `redis+sentinel://${login}127.0.0.1:1,127.0.0.1:${ports.sentinel}/${name}`;

test('is found through the sentinel that answers, and asked like any other', async () => {
  expect(await inspectSharedRedis(parseQueueAddress(addressOf()))).toEqual([]);
});

test.each([
  ['a name that they do not know', () => addressOf('anvil'), 'queue-unreachable'],
  ['a wrong password', () => addressOf('bell', ':iron@'), 'queue-refused'],
])('%s: refused with exit 2', async (_what, address, code) => {
  const error = await inspectSharedRedis(parseQueueAddress(address())).catch((thrown: unknown) => thrown);
  expect(error).toBeInstanceOf(FindingError);
  expect((error as FindingError).findings.map((found) => found.code)).toEqual([code]);
  expect(JSON.stringify((error as FindingError).findings)).not.toContain('iron');
});

test('when the master dies, jobs are asked of the one that was made master, and put into it', async () => {
  const address = parseQueueAddress(addressOf());
  let back = 0;
  const nothing = (): void => undefined;
  const queue = await openNightQueue(
    address,
    { night: 'night', run: 'run', farm: '/delivery' },
    {
      active: nothing,
      progress: nothing,
      ended: nothing,
      failure: nothing,
      back: () => void (back += 1),
    },
  );
  const job = jobOf(1, 'run');
  const name = queue.queueOf(needOf(job));
  const { ticket } = partsOf(job);
  await queue.add(name, [{ id: 'run.j1.q1', ticket, priority: 7 }]);
  // Redis sends to its replicas after it answered: what is not there yet is queued again from disk.
  await expect.poll(() => ask(ports.replica, password, 'DBSIZE')).toBeGreaterThan(4);
  const pid = /^process_id:(\d+)/m.exec(String(await ask(ports.master, password, 'INFO', 'server')))?.[1];
  process.kill(Number(pid), 'SIGKILL');
  await queue.add(name, [{ id: 'run.j2.q1', ticket, priority: 8 }]);
  expect(await queue.statesOf(name, ['run.j1.q1', 'run.j2.q1'])).toEqual(
    new Map([
      ['run.j1.q1', 'prioritized'],
      ['run.j2.q1', 'prioritized'],
    ]),
  );
  expect(back).toBeGreaterThanOrEqual(1);
  expect(String(await ask(ports.replica, password, 'ROLE'))).toMatch(/^master/);
  expect(await queue.isOurs()).toBe(true);
  await queue.clear();
  await queue.close();
}, 60_000);

test('its address is taken apart, and printed without its password', () => {
  const address = {
    kind: 'url',
    url: 'rediss+sentinel://crew:p%40ss@[::1]:7000,watch.example/bell/3',
  } as const;
  expect(redisOptions(address)).toMatchObject({
    sentinels: [
      { host: '::1', port: 7000 },
      { host: 'watch.example', port: 26_379 },
    ],
    ...{ name: 'bell', username: 'crew', password: 'p@ss', db: 3, enableTLSForSentinelMode: true },
  });
  expect(printableAddress(address)).toBe('rediss+sentinel://crew:***@[::1]:7000,watch.example/bell/3');
});

test.each([
  'redis+sentinel://host:1',
  'redis+sentinel:///bell',
  'redis+sentinel://host/bell/x',
  'redis+sentinel://a:b:c/bell',
])('%s is no address', (text) => {
  expect(() => parseQueueAddress(text)).toThrow(FindingError);
});
