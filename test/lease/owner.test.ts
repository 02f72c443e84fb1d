/** Whose unfinished files are whose, across machines, containers and deaths. Needs root for unshare(1). */
import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, onTestFinished, test } from 'vitest';
import { newSweep, startSweeping } from '../../coordinator/night/sweeping.ts';
import { packageFolder } from '../../files/installation.ts';
import { machineIdIn } from '../../files/machine-id.ts';
import { leaseText, workerLeaseName } from '../../ledger/lease.ts';
import { newLease, watchLeases } from '../../ledger/lease-file.ts';
import {
  judgeOwner,
  newToken,
  type Owner,
  ownerName,
  ownerOfName,
  ownerOfStaged,
  thisOwner,
} from '../../ledger/owner.ts';
import { sweepStaging } from '../../worker/target.ts';
import { freshFolder } from '../support/folder.ts';
import { eventually } from '../support/processes.ts';

const program = join(packageFolder, 'test/lease/owner.mjs');
const owner: Owner = { machine: 'a'.repeat(32), space: 'b'.repeat(12), pid: 32, born: 'c'.repeat(12) };

test('a name carries its owner, and only a whole name does', () => {
  expect(ownerOfName(ownerName(owner))).toEqual(owner);
  const token = newToken(owner);
  for (const name of [
    `.rushlight-part-${token}`,
    `.rushlight-part-${token}.mov`,
    `.rushlight-part-${token}.older`,
  ])
    expect(ownerOfStaged(name)).toEqual(owner);
  for (const name of [
    `rushlight-part-${token}`,
    `.rushlight-part-x${token}`,
    `.rushlight-part-${token}-copy`,
    `.rushlight-part-${ownerName(owner)}`,
    '.rushlight-part-render1-32-0123456789ab.mov',
  ])
    expect(ownerOfStaged(name)).toBeNull();
  // Far from the 255 bytes that file systems allow.
  expect(`.rushlight-part-${token}.mov.older`.length).toBeLessThan(120);
});

test.each<[string, Partial<Owner>, string | null, string]>([
  ['the process lives', {}, owner.born, 'lives'],
  ['no process has the number', {}, null, 'gone'],
  ['another process has the number', {}, 'd'.repeat(12), 'gone'],
  ['another machine', { machine: 'd'.repeat(32) }, null, 'elsewhere'],
  ['another boot or container', { space: 'd'.repeat(12) }, null, 'elsewhere'],
])('an owner: %s', (_, other, born, expected) => {
  expect(judgeOwner(owner, { ...owner, ...other }, () => born)).toBe(expected);
});

test("a machine's id is made once, kept, and of many that make it at once all have the same", async () => {
  const folder = join(freshFolder('state'), 'deep', 'rushlight');
  const code = `import { machineIdIn } from './dist/files/machine-id.js'; console.log(machineIdIn(${JSON.stringify(folder)}).id);`;
  const ids = await Promise.all(
    Array.from({ length: 8 }, async () => {
      const child = spawn(process.execPath, ['--input-type=module', '-e', code], {
        cwd: packageFolder,
        stdio: ['ignore', 'pipe', 'inherit'],
      });
      const [data] = (await once(child.stdout, 'data')) as [Buffer];
      return data.toString().trim();
    }),
  );
  expect(new Set(ids).size).toBe(1);
  expect(ids[0]).toMatch(/^[0-9a-f]{32}$/);
  expect(machineIdIn(folder)).toEqual({ id: ids[0], kept: true });
  expect(readdirSync(folder)).toEqual(['machine-id']);
  expect(statSync(join(folder, 'machine-id')).mode & 0o777).toBe(0o600);
});

test('a machine that cannot keep an id says so, and has one that no other process has', () => {
  const folder = freshFolder('state');
  writeFileSync(join(folder, 'file'), '');
  const [one, two] = [machineIdIn(join(folder, 'file')), machineIdIn(join(folder, 'file'))];
  expect([one.kept, two.kept]).toEqual([false, false]);
  expect(one.id).not.toBe(two.id);
  writeFileSync(join(folder, 'machine-id'), 'torn');
  expect(machineIdIn(folder)).toMatchObject({ kept: false });
  expect(readFileSync(join(folder, 'machine-id'), 'utf8')).toBe('torn');
});

/** The maker's process number is one that nobody has where the other one looks: two that start alike have the same, and Node's threads take a dozen, which would hide the fault. */
const NUMBERED = 'i=0; while [ $i -lt 60 ]; do true & i=$((i+1)); done; wait; "$@" & wait';
/** A process in namespaces of its own: its host name, its process numbers, its state folder. */
function machine(name: string, state: string, first: string, ...args: string[]): string[] {
  // `first` moves the process numbers, as other services of a machine do.
  const script = `hostname ${name}; ${first}`;
  return [
    'env',
    `XDG_STATE_HOME=${state}`,
    'unshare',
    '--uts',
    '--pid',
    '--fork',
    '--mount',
    '--mount-proc',
    'sh',
    '-c',
    script,
    'sh',
    process.execPath,
    program,
    ...args,
  ];
}

test.each([
  [
    'names that begin alike, another machine',
    'render-node-london-basement-01',
    'render-node-london-basement-02',
    false,
  ],
  ['the same host name, another machine', 'render', 'render', false],
  ['the same host name and state folder: another container', 'render', 'render', true],
])("%s: a living process's unfinished file is not taken for a dead one's", async (_, one, two, sameState) => {
  const folder = freshFolder('staging');
  const states = [join(folder, 'state-1'), join(folder, sameState ? 'state-1' : 'state-2')] as const;
  const place = join(folder, 'profile');
  mkdirSync(place);
  const [command = '', ...rest] = machine(one, states[0], NUMBERED, 'make', place);
  const maker = spawn(command, rest, { stdio: ['ignore', 'pipe', 'inherit'], detached: true });
  onTestFinished(() => {
    if (maker.pid !== undefined) process.kill(-maker.pid, 'SIGKILL');
  });
  const [data] = (await once(maker.stdout, 'data')) as [Buffer];
  const name = data.toString().trim();
  const [looking = '', ...more] = machine(two, states[1], 'exec "$@"', 'look', place);
  expect(JSON.parse(execFileSync(looking, more, { encoding: 'utf8' }))).toEqual([]);
  await sweepStaging(place);
  expect(existsSync(join(place, name))).toBe(true);
});

test('the file of a process of this machine that ended is swept at once', async () => {
  const folder = freshFolder('staging');
  const { pid } = spawnSync('true');
  const name = `.rushlight-part-${newToken({ ...thisOwner(), pid })}.mov`;
  writeFileSync(join(folder, name), 'frames');
  writeFileSync(join(folder, `.rushlight-part-${newToken()}.mov`), 'ours, at work');
  await sweepStaging(folder);
  expect(readdirSync(folder)).toHaveLength(1);
  expect(readdirSync(folder)).not.toContain(name);
});

test('the run that has the delivery sweeps what dead machines left, when their lease or file was unchanged long enough, and nothing else', async () => {
  const delivery = freshFolder('delivery');
  const profile = join(delivery, 'day-03', 'A001', 'cut');
  const reports = join(delivery, 'day-03', 'A001', 'reports', 'fingerprints');
  mkdirSync(profile, { recursive: true });
  mkdirSync(reports, { recursive: true });
  const other = (machineDigit: string): Owner => ({ ...owner, machine: machineDigit.repeat(32) });
  const staged = (by: Owner, folder = profile): string => {
    const path = join(folder, `.rushlight-part-${newToken(by)}.mov`);
    writeFileSync(path, 'frames');
    return path;
  };
  const writeLease = (by: Owner, counter: number): void =>
    writeFileSync(
      join(delivery, workerLeaseName(ownerName(by))),
      leaseText({ ...newLease('worker'), owner: ownerName(by), token: 'w', counter }),
    );
  const alive = staged(other('1'));
  const silent = staged(other('2'));
  const without = staged(other('3'), reports);
  const growing = staged(other('4'));
  const gone = staged({ ...thisOwner(), pid: 2 ** 22 + 1 });
  const ours = staged(thisOwner());
  const nameless = join(delivery, '.rushlight-part-probe-old');
  writeFileSync(nameless, '');
  symlinkSync('A001C001.mov', join(profile, `.rushlight-part-${newToken(other('3'))}`));
  writeFileSync(join(profile, 'A001C001.mov'), 'published');
  for (const digit of ['1', '2']) writeLease(other(digit), 1);
  let now = 0;
  let mayRemove = true;
  const reconcile = newSweep(
    delivery,
    () => mayRemove,
    () => undefined,
    watchLeases({ now: () => now, deadMilliseconds: 60_000 }),
  );
  const lying = (): string[] =>
    [alive, silent, without, growing, gone, ours, nameless].filter((path) => existsSync(path));
  let left = await reconcile.once();
  expect(lying()).toEqual([alive, silent, without, growing, ours, nameless]);
  expect(left.get(ours)).toBe('lives');
  expect(left.get(silent)).toBe('not-known-yet');
  now = 59_000;
  writeLease(other('1'), 2);
  writeFileSync(growing, 'more frames');
  left = await reconcile.once();
  expect(lying()).toEqual([alive, silent, without, growing, ours, nameless]);
  expect(left.get(alive)).toBe('lives');
  now = 60_000;
  mayRemove = false;
  await reconcile.once();
  expect(lying()).toEqual([alive, silent, without, growing, ours, nameless]);
  mayRemove = true;
  await reconcile.once();
  expect(lying()).toEqual([alive, growing, ours]);
  await reconcile.once();
  // The dead worker's lease goes when nothing of its is left; the living one's stays.
  expect(readdirSync(delivery).filter((name) => name.startsWith('.rushlight-lease'))).toEqual([
    workerLeaseName(ownerName(other('1'))),
  ]);
  expect(readdirSync(profile).sort()).toEqual(
    [alive, growing, ours, 'A001C001.mov'].map((path) => path.split('/').at(-1)).sort(),
  );
});

/** Of a machine that was lost while it wrote: its lease lies there and does not grow. */
function lostIn(delivery: string): string {
  const by = { ...owner, machine: '5'.repeat(32) };
  writeFileSync(
    join(delivery, workerLeaseName(ownerName(by))),
    leaseText({ ...newLease('worker'), owner: ownerName(by), token: 'w', counter: 1 }),
  );
  const path = join(delivery, `.rushlight-part-${newToken(by)}.mov`);
  writeFileSync(path, 'frames');
  return path;
}

function sweepingOf(delivery: string, said: string[] = []) {
  return startSweeping({
    delivery,
    hold: { stillOurs: () => true },
    log: () => undefined,
    say: (line) => void said.push(line),
    // The next look at everything is beyond the test.
    timing: {
      now: () => performance.now(),
      deadMilliseconds: 200,
      againMilliseconds: 50,
      wholeMilliseconds: 3_600_000,
    },
  });
}

test('what a worker left that was lost in mid-run is swept when its job begins again, not with the next look at everything', async () => {
  const delivery = freshFolder('delivery');
  const sweeping = sweepingOf(delivery);
  // The first look found nothing.
  await sleep(100);
  const left = lostIn(delivery);
  await sleep(600);
  expect(existsSync(left)).toBe(true);
  sweeping.soon();
  await eventually(() => !existsSync(left));
  expect(await sweeping.end()).toEqual([]);
});

test.each([
  [true, []],
  [false, ['staging-left']],
])('the end of a run that may wait (%s) for what was left in its last minute: %j', async (mayWait, codes) => {
  const delivery = freshFolder('delivery');
  const said: string[] = [];
  const sweeping = sweepingOf(delivery, said);
  await sleep(100);
  const left = lostIn(delivery);
  expect((await sweeping.end(() => mayWait)).map(({ code }) => code)).toEqual(codes);
  expect(existsSync(left)).toBe(!mayWait);
  expect(said).toHaveLength(mayWait ? 1 : 0);
});
