import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Redis } from 'ioredis';
import { afterEach, expect, test } from 'vitest';
import { type PrivateStore, startPrivateStore } from '../../coordinator/store/private.ts';
import type { Finding } from '../../findings/finding.ts';
import { redisOptions } from '../../ledger/queue.ts';
import { freshFolder } from '../support/folder.ts';

const stores: PrivateStore[] = [];
const clients: Redis[] = [];
afterEach(async () => {
  for (const client of clients.splice(0)) client.disconnect();
  for (const store of stores.splice(0)) await store.stop();
  delete process.env.RUSHLIGHT_REDIS_SERVER;
});

function start(folder: string): { store: PrivateStore; reported: Finding[]; client: () => Redis } {
  const reported: Finding[] = [];
  const store = startPrivateStore(folder, {
    onRestart: (item) => reported.push(item),
    onLost: (item) => reported.push(item),
  });
  stores.push(store);
  const client = (): Redis => {
    const made = new Redis(redisOptions(store.address));
    // Connections break when the store is killed: that is what is tested.
    made.on('error', () => undefined);
    clients.push(made);
    return made;
  };
  return { store, reported, client };
}

const field = (info: string, name: string): string | undefined =>
  new RegExp(`^${name}:(.*?)\r?$`, 'm').exec(info)?.[1];

async function config(client: Redis, name: string): Promise<string> {
  const answer = (await client.call('CONFIG', 'GET', name)) as string[];
  return answer[1] as string;
}

async function kill(client: Redis): Promise<number> {
  const pid = Number(field(await client.info('server'), 'process_id'));
  process.kill(pid, 'SIGKILL');
  return pid;
}

test('comes up with a socket that only we can open, no port, an append-only file and no eviction', async () => {
  const folder = freshFolder('store');
  const { store, client } = start(folder);
  await store.ready;
  const redis = client();
  expect(await redis.ping()).toBe('PONG');
  expect(await config(redis, 'port')).toBe('0');
  expect(await config(redis, 'appendonly')).toBe('yes');
  expect(await config(redis, 'maxmemory-policy')).toBe('noeviction');
  expect(statSync(join(folder, 'store')).mode & 0o777).toBe(0o700);
  if (store.address.kind !== 'socket') throw new Error('no socket');
  expect(statSync(store.address.path).mode & 0o077).toBe(0);
});

test('a work folder with a long path gets its socket in a short private folder, which goes with the store', async () => {
  const folder = join(freshFolder('store'), 'very-long-name-of-a-folder-'.repeat(6));
  mkdirSync(folder);
  const { store, client } = start(folder);
  await store.ready;
  if (store.address.kind !== 'socket') throw new Error('no socket');
  const { path } = store.address;
  expect(Buffer.byteLength(path)).toBeLessThan(104);
  expect(statSync(join(path, '..')).mode & 0o777).toBe(0o700);
  expect(await client().ping()).toBe('PONG');
  for (const made of clients.splice(0)) made.disconnect();
  await stores.pop()?.stop();
  expect(existsSync(join(path, '..'))).toBe(false);
});

test('killed in mid-night it comes back on the same files, and says so', async () => {
  const { store, reported, client } = start(freshFolder('store'));
  await store.ready;
  const redis = client();
  await redis.set('kept', 'yes');
  // appendfsync everysec: written to the kernel at once, and a killed process loses nothing of that.
  const before = await kill(redis);
  await expect
    .poll(() => reported.map((item) => item.code), { timeout: 15_000 })
    .toEqual(['store-restarted']);
  expect(await redis.get('kept')).toBe('yes');
  expect(Number(field(await redis.info('server'), 'process_id'))).not.toBe(before);
});

test('one that is slow to start again is waited for, and has died once', async () => {
  const folder = freshFolder('store');
  const slow = join(folder, 'slow-redis-server');
  writeFileSync(slow, `#!/bin/sh\nsleep 2.5\nexec redis-server "$@"\n`, { mode: 0o755 });
  process.env.RUSHLIGHT_REDIS_SERVER = slow;
  const { store, reported, client } = start(folder);
  await store.ready;
  const redis = client();
  await redis.set('kept', 'yes');
  await kill(redis);
  await expect
    .poll(() => reported.map((item) => item.code), { timeout: 15_000 })
    .toEqual(['store-restarted']);
  expect(await redis.get('kept')).toBe('yes');
});

test('its folder deleted in mid-night, it comes back empty under the same address', async () => {
  const folder = freshFolder('store');
  const { store, reported, client } = start(folder);
  await store.ready;
  await client().set('kept', 'yes');
  rmSync(join(folder, 'store'), { recursive: true });
  await expect
    .poll(() => reported.map((item) => item.code), { timeout: 15_000 })
    .toEqual(['store-restarted']);
  expect(await client().get('kept')).toBeNull();
});

test('a store that cannot be kept up is given up with a finding', async () => {
  const { store, reported, client } = start(freshFolder('store'));
  await store.ready;
  const redis = client();
  for (let round = 0; round < 6; round += 1) {
    const restarts = reported.length;
    await kill(redis);
    await expect.poll(() => reported.length, { timeout: 15_000 }).toBe(restarts + 1);
  }
  expect(reported.map((item) => item.code)).toEqual([
    ...Array.from({ length: 5 }, () => 'store-restarted'),
    'store-failed',
  ]);
}, 120_000);

test('a damaged append-only file does not keep the store down for ever', async () => {
  const folder = freshFolder('store');
  const { store, reported, client } = start(folder);
  await store.ready;
  const redis = client();
  await redis.set('kept', 'yes');
  execFileSync('sh', [
    '-c',
    'for f in "$1"/store/appendonlydir/*.incr.aof; do printf garbage-that-is-no-command > "$f"; done',
    'sh',
    folder,
  ]);
  await kill(redis);
  await expect
    .poll(() => reported.map((item) => item.code), { timeout: 40_000 })
    .toEqual(['store-restarted']);
  expect(await redis.ping()).toBe('PONG');
  expect(await redis.get('kept')).toBeNull();
}, 120_000);

test('stopped, nothing of it runs, and the next run starts empty', async () => {
  const folder = freshFolder('store');
  const first = start(folder);
  await first.store.ready;
  const redis = first.client();
  await redis.set('left', 'over');
  const pid = Number(field(await redis.info('server'), 'process_id'));
  redis.disconnect();
  await stores.pop()?.stop();
  expect(() => process.kill(pid, 0)).toThrow(/ESRCH/);
  const second = start(folder);
  await second.store.ready;
  expect(await second.client().dbsize()).toBe(0);
});

test("no program: refused with exit 3 and the remedy's code", () => {
  process.env.RUSHLIGHT_REDIS_SERVER = '/nowhere/redis-server';
  expect(() =>
    startPrivateStore(freshFolder('store'), { onRestart: () => undefined, onLost: () => undefined }),
  ).toThrow(
    expect.objectContaining({
      exitCode: 3,
      findings: [expect.objectContaining({ code: 'store-program-missing' })],
    }),
  );
});

test('a program that ends at once: refused with exit 3 and what it said last', async () => {
  const folder = freshFolder('store');
  const fake = join(folder, 'fake-server');
  writeFileSync(fake, '#!/bin/sh\necho cannot go on >&2\nexit 7\n', { mode: 0o755 });
  process.env.RUSHLIGHT_REDIS_SERVER = fake;
  const { store } = start(folder);
  await expect(store.ready).rejects.toMatchObject({
    exitCode: 3,
    findings: [{ code: 'store-failed', found: expect.stringContaining('exit code 7') }],
  });
});
