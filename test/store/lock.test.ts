import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync, writeFileSync, existsSync, readdirSync } from 'node:fs';
import { hostname } from 'node:os';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { acquireLock, readLock } from '../../coordinator/store/lock.ts';
import { processIdentity } from '../../coordinator/store/process-identity.ts';
import { FindingError } from '../../findings/finding.ts';
import { freshFolder } from '../support/folder.ts';

const record = (fields: object): string =>
  JSON.stringify({
    version: 0,
    host: hostname(),
    pid: process.pid,
    process: processIdentity(process.pid),
    since: '2026-01-01T00:00:00Z',
    token: 'other',
    ...fields,
  });

test('a second run on the same work folder is refused and told the process that holds it', async () => {
  const folder = freshFolder('lock');
  const lock = await acquireLock(folder);
  const refused = await acquireLock(folder).catch((error: unknown) => error);
  expect(refused).toBeInstanceOf(FindingError);
  const { findings, exitCode } = refused as FindingError;
  expect(exitCode).toBe(2);
  expect(findings[0]?.code).toBe('work-folder-in-use');
  expect(findings[0]?.found).toContain(`process ${process.pid},`);
  await lock.release();
  const again = await acquireLock(folder);
  await again.release();
  expect(readdirSync(folder)).toEqual([]);
});

test('of many that want it at once, no two get it', async () => {
  const folder = freshFolder('lock');
  writeFileSync(join(folder, 'lock-1.json'), record({ pid: 2 ** 22 - 1, process: 'gone' }));
  const results = await Promise.allSettled(Array.from({ length: 40 }, () => acquireLock(folder)));
  // With forty at once all may step back for each other; two can never hold it.
  expect(results.filter((result) => result.status === 'fulfilled').length).toBeLessThanOrEqual(1);
  for (const result of results)
    if (result.status === 'rejected') expect(result.reason).toBeInstanceOf(FindingError);
  const held = results.some((result) => result.status === 'fulfilled');
  expect((await readLock(folder)).state).toBe(held ? 'held' : 'stale');
  if (!held) await acquireLock(folder);
});

test('the lock of a process that was killed is taken over', async () => {
  const folder = freshFolder('lock');
  const child = spawn(process.execPath, ['-e', 'setInterval(() => {}, 1000)'], { stdio: 'ignore' });
  const pid = child.pid as number;
  writeFileSync(join(folder, 'lock-1.json'), record({ pid, process: processIdentity(pid) }));
  expect((await readLock(folder)).state).toBe('held');
  child.kill('SIGKILL');
  await once(child, 'exit');
  expect((await readLock(folder)).state).toBe('stale');
  const lock = await acquireLock(folder);
  expect(JSON.parse(readFileSync(lock.file, 'utf8')).pid).toBe(process.pid);
});

test('a lock whose process number has been given to another process is stale', async () => {
  const folder = freshFolder('lock');
  // Number of a living process, start time of another one.
  writeFileSync(join(folder, 'lock-1.json'), record({ process: 'some-boot:1' }));
  expect((await readLock(folder)).state).toBe('stale');
  await acquireLock(folder);
});

test('the lock of another machine holds, whatever its process number', async () => {
  const folder = freshFolder('lock');
  writeFileSync(
    join(folder, 'lock-1.json'),
    record({ host: 'another-machine', pid: 2 ** 22 - 1, process: 'gone' }),
  );
  await expect(acquireLock(folder)).rejects.toMatchObject({
    exitCode: 2,
    findings: [{ code: 'work-folder-in-use', found: expect.stringContaining('another-machine') }],
  });
});

test('a torn lock is taken over', async () => {
  const folder = freshFolder('lock');
  writeFileSync(join(folder, 'lock-1.json'), '{"version":1,"ho');
  const lock = await acquireLock(folder);
  await lock.release();
  expect(existsSync(lock.file)).toBe(false);
});

test('a lock that is no longer ours is left alone', async () => {
  const folder = freshFolder('lock');
  const lock = await acquireLock(folder);
  writeFileSync(lock.file, record({ host: 'another-machine' }));
  await lock.release();
  expect(existsSync(lock.file)).toBe(true);
});

test('a process that ended and was not fetched by its parent counts as gone', async () => {
  // The shell starts a child that ends at once and does not wait for it: a zombie, to which kill(pid, 0) still succeeds.
  const shell = spawn('sh', ['-c', 'true & echo $!; exec sleep 20'], { stdio: ['ignore', 'pipe', 'ignore'] });
  const [text] = (await once(shell.stdout, 'data')) as [Buffer];
  const pid = Number(text.toString().trim());
  try {
    await expect.poll(() => processIdentity(pid), { timeout: 5_000 }).toBeNull();
    expect(processIdentity(shell.pid as number)).not.toBeNull();
  } finally {
    shell.kill('SIGKILL');
  }
});
