/** Leases: what an observer concludes (pure), and that one lives at a time, whoever tries at once. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { expect, onTestFinished, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import {
  deliveryPlace,
  judgeLease,
  judgeLeftover,
  type Lease,
  LEASE_BYTES,
  type LeaseState,
  leaseText,
  parseLease,
  sight,
  type Sighting,
} from '../../ledger/lease.ts';
import {
  createLease,
  type HeldLease,
  newLease,
  releaseLease,
  stateOfPlace,
  takeLease,
  watchLeases,
} from '../../ledger/lease-file.ts';
import { startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { ownerName, type OwnerState, thisOwner } from '../../ledger/owner.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';

const elsewhere = ownerName({
  machine: 'a'.repeat(32),
  space: 'b'.repeat(12),
  pid: 32,
  born: 'c'.repeat(12),
});
const lease = (fields: Partial<Lease> = {}): Lease => ({ ...newLease('run-1'), owner: elsewhere, ...fields });

function heldOf(taken: Awaited<ReturnType<typeof takeLease>>): HeldLease {
  if (!('path' in taken)) throw new Error(`not taken: ${JSON.stringify(taken)}`);
  return taken;
}

test('a lease is a text of one length, and reads back', () => {
  const one = lease({ counter: 7, after: ['x', 'y'] });
  expect(Buffer.byteLength(leaseText(one))).toBe(LEASE_BYTES);
  expect(parseLease(leaseText(one))).toEqual(one);
  expect(parseLease(leaseText(one).slice(0, 100))).toBeNull();
  expect(parseLease('')).toBeNull();
});

const text = leaseText(lease({ token: 'other' }));
const sighting = (since: number, changed = false, content = text): Sighting => ({ content, since, changed });
const SECOND = 1000;
test.each<[string, Sighting | null, number, OwnerState, object]>([
  ['there is none', null, 0, 'elsewhere', { state: 'absent' }],
  [
    'it is our own',
    sighting(0, false, leaseText(lease({ token: 'mine' }))),
    90 * SECOND,
    'lives',
    { state: 'mine' },
  ],
  [
    'of another machine, just seen',
    sighting(5 * SECOND),
    5 * SECOND,
    'elsewhere',
    { state: 'unchanged', seconds: 0 },
  ],
  ['unchanged for 59 s', sighting(0), 59.9 * SECOND, 'elsewhere', { state: 'unchanged', seconds: 59 }],
  ['unchanged for 60 s', sighting(0), 60 * SECOND, 'elsewhere', { state: 'dead', why: 'unchanged' }],
  ['it changed before our eyes', sighting(0, true), 30 * SECOND, 'elsewhere', { state: 'alive' }],
  [
    'it changed once, 60 s ago',
    sighting(0, true),
    60 * SECOND,
    'elsewhere',
    { state: 'dead', why: 'unchanged' },
  ],
  ['its process lives here', sighting(0), 0, 'lives', { state: 'alive' }],
  ['its process here is gone', sighting(0), 0, 'gone', { state: 'dead', why: 'process-gone' }],
  [
    'torn, just seen',
    sighting(0, false, '{"vers'),
    0,
    'gone',
    { state: 'unchanged', seconds: 0, lease: null },
  ],
  ['torn for 60 s', sighting(0, false, '{"vers'), 60 * SECOND, 'gone', { state: 'dead', why: 'unchanged' }],
])('a lease: %s', (_, seen, now, owner, expected) => {
  expect(judgeLease(seen, { now, deadMilliseconds: 60 * SECOND }, 'mine', () => owner)).toMatchObject(
    expected,
  );
});

test('what was seen unchanged keeps its time; what changed begins again', () => {
  const first = sight(undefined, 'a', 10);
  expect(first).toEqual({ content: 'a', since: 10, changed: false });
  expect(sight(first, 'a', 50)).toBe(first);
  expect(sight(first, 'b', 50)).toEqual({ content: 'b', since: 50, changed: true });
});

const dead: LeaseState = { state: 'dead', why: 'unchanged', lease: null };
const unchanged: LeaseState = { state: 'unchanged', seconds: 30, lease: null };
test.each<[string, OwnerState | null, LeaseState, number, string]>([
  ['a process that lives here', 'lives', dead, 0, 'lives'],
  ['a process that is gone from here', 'gone', { state: 'alive', lease: null }, 0, 'left'],
  ['another machine whose lease grows', 'elsewhere', { state: 'alive', lease: null }, 0, 'lives'],
  ['another machine whose lease has not changed yet', 'elsewhere', unchanged, 0, 'not-known-yet'],
  ['another machine whose lease is dead', 'elsewhere', dead, 59_000, 'left'],
  [
    'another machine without a lease, the file seen for 59 s',
    'elsewhere',
    { state: 'absent' },
    1_000,
    'not-known-yet',
  ],
  [
    'another machine without a lease, the file unchanged for 60 s',
    'elsewhere',
    { state: 'absent' },
    0,
    'left',
  ],
  ['nobody that its name says, unchanged for 60 s', null, { state: 'absent' }, 0, 'left'],
])('an unfinished file of %s', (_, owner, its, since, expected) => {
  expect(
    judgeLeftover(owner, its, sighting(since), { now: 60 * SECOND, deadMilliseconds: 60 * SECOND }),
  ).toBe(expected);
});

test('a second run is reported who is at work, and nothing of the first is touched', async () => {
  const place = deliveryPlace(freshFolder('lease'));
  const first = heldOf(await takeLease({ place, run: 'run-1' }));
  expect(await takeLease({ place, run: 'run-2' })).toMatchObject({ state: 'alive', lease: { run: 'run-1' } });
  expect(readdirSync(place.folder)).toEqual(['.rushlight-lease-run-1']);
  expect(await stateOfPlace(place)).toMatchObject({ state: 'alive', lease: { run: 'run-1' } });
  await releaseLease(first);
  expect(readdirSync(place.folder)).toEqual([]);
  expect(await stateOfPlace(place)).toEqual({ state: 'free', dead: null });
});

test('a second run that waits gets it when the first has ended', async () => {
  const place = deliveryPlace(freshFolder('lease'));
  const first = heldOf(await takeLease({ place, run: 'run-1' }));
  const states: string[] = [];
  const second = takeLease({
    place,
    run: 'run-2',
    wait: true,
    lookMilliseconds: 10,
    onWait: ({ state }) => states.push(state),
  });
  await pause(100);
  expect(states).toEqual(['alive']);
  await releaseLease(first);
  expect(heldOf(await second).lease).toMatchObject({ run: 'run-2', after: [] });
});

test('a lease of another machine: refused when its counter grows, taken over when the own clock has run 60 s without a change', async () => {
  const place = deliveryPlace(freshFolder('lease'));
  const path = join(place.folder, '.rushlight-lease-run-4');
  const theirs = lease({ run: 'run-of-another', token: 'theirs' });
  await createLease(path, theirs);
  let now = 0;
  let looks = 0;
  const watch = watchLeases({ now: () => now, deadMilliseconds: 60_000 });
  // Every look is 5 s later; at the third the counter has grown.
  const grows = await takeLease({
    place,
    run: 'run-1',
    watch,
    lookMilliseconds: 1,
    onWait: () => {
      looks += 1;
      now += 5_000;
      writeFileSync(path, leaseText({ ...theirs, counter: 1 }));
    },
  });
  expect(grows).toMatchObject({ state: 'alive', lease: { run: 'run-of-another', counter: 1 } });
  expect(looks).toBe(1);
  const waited: number[] = [];
  const ticking = setInterval(() => void (now += 1_000), 1);
  onTestFinished(() => clearInterval(ticking));
  const began = now;
  const taken = heldOf(
    await takeLease({
      place,
      run: 'run-1',
      wait: true,
      watch: watchLeases({ now: () => now, deadMilliseconds: 60_000 }),
      lookMilliseconds: 1,
      onWait: () => waited.push(now),
    }),
  );
  expect(now - began).toBeGreaterThanOrEqual(60_000);
  expect(taken.lease.after).toEqual(['theirs']);
  expect(readdirSync(place.folder)).toEqual(['.rushlight-lease-run-5']);
});

test('the lease of a process of this machine that was killed is taken over at once', async () => {
  const place = deliveryPlace(freshFolder('lease'));
  const child = spawn(
    process.execPath,
    [join(packageFolder, 'test/lease/take.mjs'), place.folder, 'run-1', 'stay'],
    {
      stdio: ['ignore', 'pipe', 'inherit'],
    },
  );
  await once(child.stdout, 'data');
  expect(await takeLease({ place, run: 'run-2' })).toMatchObject({ state: 'alive', lease: { run: 'run-1' } });
  child.kill('SIGKILL');
  await once(child, 'exit');
  const taken = heldOf(await takeLease({ place, run: 'run-2' }));
  expect(taken.lease.run).toBe('run-2');
  expect(readdirSync(place.folder)).toEqual(['.rushlight-lease-run-2']);
});

test.each([
  ['a free place', null],
  ['the place of one that is dead', 'dead'],
])('of many processes that try for %s at once exactly one gets it', async (_, before) => {
  // Five rounds of takes in each of eight processes; the long lane does it twice.
  for (let round = 0; round < (everyRow ? 2 : 1); round += 1) {
    const place = deliveryPlace(freshFolder('lease'));
    // A process of this machine with a number that no process has.
    if (before !== null)
      await createLease(
        join(place.folder, '.rushlight-lease-run-7'),
        lease({ owner: ownerName({ ...thisOwner(), pid: 2 ** 22 + 1 }) }),
      );
    const go = join(place.folder, 'go');
    const children = Array.from({ length: 8 }, (_, index) => {
      const child = spawn(
        process.execPath,
        [join(packageFolder, 'test/lease/take.mjs'), place.folder, `run-${index}`, 'stay', go, '5'],
        { stdio: ['ignore', 'pipe', 'inherit'] },
      );
      let said = '';
      child.stdout.on('data', (data: Buffer) => {
        said += data.toString();
      });
      return { child, said: () => said };
    });
    onTestFinished(() => {
      for (const { child } of children) child.kill('SIGKILL');
    });
    await expect
      .poll(() => children.every(({ said }) => said().includes('ready')), { timeout: 60_000 })
      .toBe(true);
    mkdirSync(go);
    const answers = (): string[] => children.flatMap(({ said }) => said().match(/taken|refused/g) ?? []);
    await expect.poll(() => answers().length, { timeout: 60_000 }).toBe(40);
    expect(answers().filter((answer) => answer === 'taken')).toHaveLength(1);
    expect(readdirSync(place.folder).filter((name) => name.startsWith('.'))).toEqual([
      `.rushlight-lease-run-${before === null ? 1 : 8}`,
    ]);
    for (const { child } of children) child.kill('SIGKILL');
  }
});

const quick = { beatMilliseconds: 20, deadMilliseconds: 400, hungMilliseconds: 10_000 };

function blocks(milliseconds: number): void {
  Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, milliseconds);
}

test('a kept lease grows while the work blocks its process, and is given up when the process says nothing for too long', async () => {
  const place = deliveryPlace(freshFolder('lease'));
  const keeper = startLeaseKeeper({ ...quick, hungMilliseconds: 1_500 });
  onTestFinished(() => keeper.close());
  const held = heldOf(await takeLease({ place, run: 'run-1' }));
  const kept = keeper.keep(held, place, { lost: () => undefined });
  const counter = (): number => parseLease(readFileSync(held.path, 'utf8'))?.counter ?? -1;
  await expect.poll(counter, { timeout: 10_000 }).toBeGreaterThan(1);
  const before = counter();
  blocks(800);
  expect(counter()).toBeGreaterThan(before + 5);
  expect(kept.stillOurs()).toBe(true);
  blocks(2_500);
  const hung = counter();
  blocks(300);
  expect(counter()).toBe(hung);
  // Before any message of the thread could be read.
  expect(kept.stillOurs()).toBe(false);
  await expect.poll(() => kept.stillOurs(), { timeout: 10_000 }).toBe(true);
  await kept.release();
  expect(readdirSync(place.folder)).toEqual([]);
});

test.each<[string, (held: HeldLease) => Promise<unknown>]>([
  [
    'another run took its place',
    async (held) =>
      await createLease(held.path.replace(/\d+$/, '9'), lease({ run: 'run-2', after: [held.lease.token] })),
  ],
  ['it was taken away', async (held) => rmSync(held.path)],
  [
    'another one has its name',
    async (held) => {
      rmSync(held.path);
      writeFileSync(held.path, leaseText(lease({ run: 'run-2' })));
    },
  ],
])(
  'a kept lease of which %s is lost at the next beat, and what has its place is left alone',
  async (_, spoil) => {
    const place = deliveryPlace(freshFolder('lease'));
    const keeper = startLeaseKeeper(quick);
    onTestFinished(() => keeper.close());
    const held = heldOf(await takeLease({ place, run: 'run-1' }));
    const lost: string[] = [];
    const kept = keeper.keep(held, place, { lost: (why) => lost.push(why) });
    expect(kept.stillOurs()).toBe(true);
    await spoil(held);
    await expect.poll(() => lost.length, { timeout: 10_000 }).toBe(1);
    expect(kept.stillOurs()).toBe(false);
    await kept.release();
    const left = readdirSync(place.folder).map(
      (name) => parseLease(readFileSync(join(place.folder, name), 'utf8'))?.run,
    );
    expect(left.filter((run) => run === 'run-2')).toHaveLength(left.includes('run-2') ? 1 : 0);
    expect(left).not.toContain('run-1');
  },
);

test('a lease whose volume is away is not lost, and holds no more once others may take it for dead', async () => {
  const parent = freshFolder('lease');
  const folder = join(parent, 'delivery');
  mkdirSync(folder);
  const place = deliveryPlace(folder);
  const keeper = startLeaseKeeper(quick);
  onTestFinished(() => keeper.close());
  const held = heldOf(await takeLease({ place, run: 'run-1' }));
  const lost: string[] = [];
  const kept = keeper.keep(held, place, { lost: (why) => lost.push(why) });
  const { renameSync } = await import('node:fs');
  renameSync(folder, join(parent, 'away'));
  await expect.poll(() => kept.stillOurs(), { timeout: 10_000 }).toBe(false);
  renameSync(join(parent, 'away'), folder);
  await expect.poll(() => kept.stillOurs(), { timeout: 10_000 }).toBe(true);
  expect(lost).toEqual([]);
  await kept.release();
});
