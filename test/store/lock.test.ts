import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { acquireLock, readLock } from '../../coordinator/store/lock.ts';
import { FindingError } from '../../findings/finding.ts';
import { leaseText } from '../../ledger/lease.ts';
import { newLease } from '../../ledger/lease-file.ts';
import { type KeptLease, startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { bornHere, ownerName, thisOwner } from '../../ledger/owner.ts';
import { processIdentity } from '../../process/identity.ts';
import { freshFolder } from '../support/folder.ts';

const keeper = startLeaseKeeper();
afterAll(() => keeper.close());
const acquire = (workFolder: string): Promise<KeptLease> =>
  acquireLock({ workFolder, run: 'run-1', keeper, lost: () => undefined });
const record = (owner: Partial<ReturnType<typeof thisOwner>>): string =>
  leaseText({ ...newLease('other'), owner: ownerName({ ...thisOwner(), ...owner }) });

test('a second run on the same work folder is refused and told the process that holds it', async () => {
  const folder = freshFolder('lock');
  const lock = await acquire(folder);
  const refused = await acquire(folder).catch((error: unknown) => error);
  expect(refused).toBeInstanceOf(FindingError);
  const { findings, exitCode } = refused as FindingError;
  expect(exitCode).toBe(2);
  expect(findings[0]?.code).toBe('work-folder-in-use');
  expect(findings[0]?.found).toContain(`process ${process.pid} on this machine`);
  await lock.release();
  const again = await acquire(folder);
  await again.release();
  expect(readdirSync(folder)).toEqual([]);
});

test.each([
  ['a free folder', null],
  ['the folder of a dead one', 'dead'],
])('of forty that want %s at once exactly one gets it, and the others are reported', async (_, before) => {
  for (let round = 0; round < 5; round += 1) {
    const folder = freshFolder('lock');
    if (before !== null) writeFileSync(join(folder, 'lease-1'), record({ pid: 2 ** 22 + 1 }));
    const results = await Promise.allSettled(Array.from({ length: 40 }, () => acquire(folder)));
    expect(results.filter((result) => result.status === 'fulfilled')).toHaveLength(1);
    for (const result of results)
      if (result.status === 'rejected') expect(result.reason).toBeInstanceOf(FindingError);
    expect((await readLock(folder)).state).toBe('alive');
    for (const result of results) if (result.status === 'fulfilled') await result.value.release();
  }
});

test('the lock of a process that was killed is taken over', async () => {
  const folder = freshFolder('lock');
  const child = spawn(process.execPath, ['-e', 'setInterval(() => {}, 1000)'], { stdio: 'ignore' });
  const pid = child.pid as number;
  writeFileSync(join(folder, 'lease-1'), record({ pid, born: bornHere(pid) ?? '' }));
  expect((await readLock(folder)).state).toBe('alive');
  child.kill('SIGKILL');
  await once(child, 'exit');
  expect(await readLock(folder)).toMatchObject({ state: 'free', dead: { run: 'other' } });
  const lock = await acquire(folder);
  expect(lock.held.lease.owner).toBe(ownerName(thisOwner()));
  await lock.release();
});

test('a lock whose process number has been given to another process is free', async () => {
  const folder = freshFolder('lock');
  // Number of a living process, birth of another one.
  writeFileSync(join(folder, 'lease-1'), record({ born: 'a'.repeat(12) }));
  expect((await readLock(folder)).state).toBe('free');
  await (await acquire(folder)).release();
});

test.each([
  ['another machine', { machine: 'b'.repeat(32) }],
  ['another boot or container of a machine with this id', { space: 'b'.repeat(12) }],
])('one look at the lock of %s decides nothing, whatever its process number', async (_, owner) => {
  const folder = freshFolder('lock');
  writeFileSync(join(folder, 'lease-1'), record({ ...owner, pid: 2 ** 22 + 1 }));
  expect(await readLock(folder)).toMatchObject({ state: 'unchanged', seconds: 0 });
});

test('a lock that is no longer ours is left alone', async () => {
  const folder = freshFolder('lock');
  const lock = await acquire(folder);
  // Taken away and taken by another: another file under the same name.
  rmSync(lock.held.path);
  writeFileSync(lock.held.path, record({ machine: 'b'.repeat(32) }));
  await lock.release();
  expect(existsSync(lock.held.path)).toBe(true);
  expect(readFileSync(lock.held.path, 'utf8')).toContain('"other"');
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
