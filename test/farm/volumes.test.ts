/** Volumes: each machine mounts them where it likes, and knows them by their markers. Machines with mounts of their own, and a real Redis. */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, readdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Redis } from 'ioredis';
import { expect, test } from 'vitest';
import { nightOfFolders } from '../../coordinator/night/names.ts';
import { volumesOf } from '../../coordinator/roll/volumes.ts';
import { programFile } from '../../files/installation.ts';
import { FindingError } from '../../findings/finding.ts';
import { POSTINGS_KEY } from '../../ledger/farm.ts';
import { partsOf } from '../../ledger/job-parts.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import {
  fromVolume,
  initVolume,
  leavesVolume,
  localTicket,
  MARKER_NAME,
  portableTicket,
  readMarker,
  readMounts,
  toVolume,
} from '../../ledger/volumes.ts';
import { runCli, startCli } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { linesOf, startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { jobOf } from '../support/jobs.ts';
import { resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';

const mounts = [
  { name: 'raid', at: '/mnt/raid' },
  { name: 'inner', at: '/mnt/raid/inner' },
];

test('a path is named by the innermost volume that it lies in, and found again below another mount point', () => {
  expect(toVolume(mounts, '/mnt/raid/day-03/A001')).toBe('volume:raid/day-03/A001');
  expect(toVolume(mounts, '/mnt/raid/inner/x')).toBe('volume:inner/x');
  expect(toVolume(mounts, '/mnt/raid')).toBe('volume:raid/');
  expect(toVolume(mounts, '/mnt/raider/day-03')).toBeNull();
  expect(fromVolume([{ name: 'raid', at: '/elsewhere' }], 'volume:raid/day-03/A001')).toBe(
    '/elsewhere/day-03/A001',
  );
});

test.each([
  ['/day-03/A001', 'job-path-absolute'],
  ['volume:other/day-03', 'volume-unknown'],
  ['volume:raid/../etc', 'volume-path-leaves'],
  ['volume:raid/day-03/../../../etc', 'volume-path-leaves'],
  ['volume:raid//etc', 'volume-path-leaves'],
])('%s is refused', (path, code) => {
  expect(fromVolume(mounts, path)).toMatchObject({ code });
});

test('a job carries no path of the machine that sent it; one with an absolute path is refused where volumes are known', () => {
  const job = {
    ...jobOf(1, 'run'),
    rollFolder: '/mnt/raid/day-03/A001',
    deliveryFolder: '/mnt/raid/out/day-03/A001',
  };
  const { ticket } = partsOf(job);
  const sent = portableTicket(ticket, mounts);
  expect(JSON.stringify(sent)).not.toContain('/mnt/raid');
  expect(localTicket(sent, mounts)).toEqual({ ticket });
  expect(localTicket(sent, [{ name: 'raid', at: '/x' }])).toMatchObject({
    ticket: { rollFolder: '/x/day-03/A001', deliveryFolder: '/x/out/day-03/A001' },
  });
  expect(localTicket(sent, null)).toMatchObject({ finding: { code: 'volume-unknown' } });
  expect(localTicket(ticket, mounts)).toMatchObject({ finding: { code: 'job-path-absolute' } });
  // A farm without volumes.
  expect(localTicket(ticket, null)).toEqual({ ticket });
});

test.each([
  [
    'a list',
    'raid=/mnt/raid,out=/mnt/out/',
    [
      { name: 'raid', at: '/mnt/raid' },
      { name: 'out', at: '/mnt/out' },
    ],
  ],
  ['a file', 'version: 1\nvolumes:\n  raid: /mnt/raid\n', [{ name: 'raid', at: '/mnt/raid' }]],
])('%s of volumes is read', async (_, text, expected) => {
  const file = join(freshFolder('volumes'), 'volumes.yaml');
  writeFileSync(file, text);
  expect(await readMounts(text.startsWith('version') ? file : text)).toEqual(expected);
});

test.each([
  ['a relative mount point', 'raid=mnt/raid'],
  ['a name twice', 'raid=/a,raid=/b'],
  ['a place twice', 'raid=/a,out=/a/'],
  ['a name that is a path', 'ra/id=/a'],
  ['no name', '=/a'],
  ['a file that is not there', '/nowhere/volumes.yaml'],
])('%s is refused', async (_, spec) => {
  const error = await readMounts(spec).catch((thrown: unknown) => thrown);
  expect(error).toBeInstanceOf(FindingError);
  expect(error).toMatchObject({ exitCode: 2, findings: [{ code: 'volumes-wrong' }] });
});

test('a marker is made once; another one, a damaged one and none are told apart from it', async () => {
  const folder = freshFolder('volumes');
  const mount = { name: 'raid', at: folder };
  expect(await readMarker(mount)).toMatchObject({ finding: { code: 'volume-marker-missing' } });
  const { id, made } = await initVolume(folder);
  expect(made).toBe(true);
  expect(await initVolume(folder)).toEqual({ id, made: false });
  expect(await readMarker(mount, id)).toEqual({ volume: { name: 'raid', id } });
  expect(await readMarker(mount, '0'.repeat(32))).toMatchObject({ finding: { code: 'volume-differs' } });
  writeFileSync(join(folder, MARKER_NAME), '{"version":0,');
  expect(await readMarker(mount, id)).toMatchObject({ finding: { code: 'volume-marker-missing' } });
});

test('a link that leads out of the volume is found; one that stays inside is none', async () => {
  const folder = freshFolder('volumes');
  const at = join(folder, 'raid');
  mkdirSync(join(at, 'day-03'), { recursive: true });
  mkdirSync(join(folder, 'outside'));
  symlinkSync(join(folder, 'outside'), join(at, 'out'));
  symlinkSync(join(at, 'day-03'), join(at, 'in'));
  const here = [{ name: 'raid', at }];
  expect(await leavesVolume(here, 'volume:raid/out')).toMatchObject({ code: 'volume-path-leaves' });
  expect(await leavesVolume(here, 'volume:raid/in')).toBeNull();
});

test('runs that mount one delivery at two places are one night; another volume is another one', async () => {
  const folder = freshFolder('volumes');
  const [raid, other] = [join(folder, 'raid'), join(folder, 'other')];
  for (const at of [raid, other]) {
    mkdirSync(join(at, 'day-03'), { recursive: true });
    await initVolume(at);
  }
  const linked = join(folder, 'elsewhere');
  symlinkSync(raid, linked);
  const nightAt = async (at: string): Promise<string> => {
    const folders = { day: join(at, 'day-03'), dayName: 'day-03', delivery: join(at, 'proxies') };
    return nightOfFolders(folders, await volumesOf(`raid=${at}`, folders));
  };
  expect(await nightAt(linked)).toBe(await nightAt(raid));
  expect(await nightAt(other)).not.toBe(await nightAt(raid));
  await expect(
    volumesOf(`raid=${raid}`, { day: '/somewhere/day-03', delivery: join(raid, 'proxies') }),
  ).rejects.toMatchObject({ exitCode: 2, findings: [{ code: 'volume-outside' }] });
});

test('two machines with the volumes at other places make the night; a machine without one, and one with a copy under its name, take nothing and say so', async (context) => {
  needsRoot(context);
  const folder = freshFolder('volumes');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [raid, proxies, work] = ['raid', 'proxies', 'work'].map((name) => join(folder, name)) as [
    string,
    string,
    string,
  ];
  const clip = { frames: 12, size: '256x144' };
  await makeDay(join(raid, 'day-03'), {
    A001: { 'A001C001.mov': clip, 'A001C002.mov': { ...clip, timecode: '02:00:00:00' } },
  });
  mkdirSync(proxies);
  for (const at of [raid, proxies]) {
    const made = await runCli(['volume', 'init', at]);
    expect(made.code, made.stderr).toBe(0);
  }
  // Where the run has them, the machines have nothing.
  const elsewhere = (name: string): { mounts: string; words: string[] } => {
    const [r, p] = [join(folder, `${name}-r`), join(folder, `${name}-p`)];
    mkdirSync(r);
    mkdirSync(p);
    return {
      mounts: `mount --bind ${raid} ${r}; mount --bind ${proxies} ${p}; mount -t tmpfs none ${raid}; mount -t tmpfs none ${proxies}`,
      words: ['--volumes', `raid=${r},proxies=${p}`],
    };
  };
  const copy = join(folder, 'copy-of-proxies');
  mkdirSync(copy);
  await initVolume(copy);
  const run = startCli(
    runWords(
      { day: join(raid, 'day-03'), delivery: join(proxies, 'night'), work },
      ...['--volumes', `raid=${raid},proxies=${proxies}`],
      ...['--queue', store.url, '--workers', '0', '--json'],
    ),
  );
  const without = startMachine({
    name: 'without',
    queue: store.url,
    folder,
    words: ['--volumes', `raid=${raid}`],
  });
  const copied = startMachine({
    name: 'copied',
    queue: store.url,
    folder,
    words: ['--volumes', `raid=${raid},proxies=${copy}`],
  });
  await eventually(() => without.said().includes('volume-unknown:'), 60_000, 50);
  await eventually(() => copied.said().includes('volume-differs:'), 60_000, 50);
  // Nothing that travels names a path of one machine.
  const client = new Redis(store.url);
  const posted = JSON.stringify(await client.hgetall(POSTINGS_KEY));
  client.disconnect();
  expect(posted).toContain('volume:raid/day-03');
  expect(posted).not.toContain(folder);
  const fit = ['north', 'south'].map((name) =>
    startMachine({ name, queue: store.url, folder, ...elsewhere(name) }),
  );
  const ended = await run.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(fit.flatMap(({ log }) => linesOf(log, 'done'))).toHaveLength(2);
  for (const { log } of [without, copied]) expect(linesOf(log, 'begins')).toEqual([]);
  expect(
    resultOf(ended.stdout)
      .findings.map(({ code, file, found }) => [code, file, found.split(':')[0]])
      .sort(),
  ).toEqual([
    ['machine-unfit', 'copied', 'volume-differs'],
    ['machine-unfit', 'without', 'volume-unknown'],
  ]);
  expect(readdirSync(copy)).toEqual([MARKER_NAME]);
  // Nor does anything that stays: reports, commands, verdict, statement, night and pages.
  const delivery = join(proxies, 'night');
  // (What a machine says of a mount point that has another volume names it, and the machine.)
  for (const at of [raid, proxies, ...['north', 'south'].flatMap((name) => [`${name}-r`, `${name}-p`])])
    expect(textsWith(delivery, join(folder, at.replace(folder, '')))).toEqual([]);
  const verdict = join(delivery, 'day-03', 'A001', 'roll.json');
  const copiesNamed = (): string[] =>
    (JSON.parse(readFileSync(verdict, 'utf8')) as RollVerdict).copies.map((copy) => copy.folder);
  expect(copiesNamed()).toEqual(['volume:raid/day-03/A001']);
  const [report] = readdirSync(join(delivery, 'day-03', 'A001', 'reports', 'deliverables'));
  const { command } = JSON.parse(
    readFileSync(join(delivery, 'day-03', 'A001', 'reports', 'deliverables', String(report)), 'utf8'),
  ) as { command: string[] };
  expect(command).toContain('file:volume:raid/day-03/A001/A001C001.mov');
  const audited = await runCli(['audit', delivery]);
  expect(audited.code, audited.stdout).toBe(0);
  // On a machine that mounts both elsewhere: an audit, and a late copy, which is compared with the copies of the verdict there.
  const late = join(folder, 'late', 'day-03');
  cpSync(join(raid, 'day-03'), late, { recursive: true, preserveTimestamps: true });
  const { mounts: there, words } = elsewhere('east');
  const [r, p] = [join(folder, 'east-r'), join(folder, 'east-p')];
  const eastern = (...args: readonly string[]) => commandThere(there, args);
  expect(eastern('audit', join(p, 'night')).status).toBe(0);
  expect(eastern('status', join(p, 'night')).stdout).toContain('ready');
  const checked = eastern(
    ...['check', join(r, 'day-03'), '--copy', late, '--deliver', join(p, 'night'), '--json', '--quiet'],
    ...words,
  );
  const { verdicts, delivery: named } = JSON.parse(checked.stdout) as {
    delivery: string;
    verdicts: { added: string[]; findings: { code: string }[] }[];
  };
  expect(named).toBe(join(p, 'night'));
  // The working copy is known again under its other mount point, and the late one lies in no volume.
  expect(verdicts.map(({ added }) => added)).toEqual([[join(late, 'A001')]]);
  expect(verdicts[0]?.findings.map(({ code }) => code)).toEqual(['copy-same-drive']);
  expect(copiesNamed()).toEqual(['volume:raid/day-03/A001', join(late, 'A001')]);
  expect(textsWith(delivery, r)).toEqual([]);
  const again = await runCli(['audit', delivery]);
  expect(again.code, again.stdout).toBe(0);
}, 240_000);

/** A command of the program where the mounts are others. */
function commandThere(mount: string, words: readonly string[]) {
  return spawnSync(
    'unshare',
    [
      ...['-m', '--propagation', 'private', 'bash', '-ec', `${mount}; exec "$@"`, 'bash'],
      ...[process.execPath, programFile('coordinator/cli.js'), ...words],
    ],
    { encoding: 'utf8' },
  );
}

/** Files of a delivery that people or programs read as text, and that hold it. */
const textsWith = (delivery: string, text: string): string[] =>
  readdirSync(delivery, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name))
    .filter((path) => readFileSync(path).includes(text));

test('a marker that vanishes makes a volume nobody’s: the run says which, and on which machine', async (context) => {
  needsRoot(context);
  const folder = freshFolder('volumes');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const raid = join(folder, 'raid');
  await makeDay(join(raid, 'day-03'), { A001: { 'A001C001.mov': { frames: 12, size: '256x144' } } });
  await initVolume(raid);
  const marker = readFileSync(join(raid, MARKER_NAME));
  const words = runWords(
    { day: join(raid, 'day-03'), delivery: join(raid, 'night'), work: join(folder, 'work') },
    ...[
      '--volumes',
      `raid=${raid}`,
      '--queue',
      store.url,
      '--workers',
      '0',
      '--patience-seconds',
      '3',
      '--json',
    ],
  );
  const run = startCli(words);
  const client = new Redis(store.url);
  context.onTestFinished(() => client.disconnect());
  await eventually(async () => (await client.exists(POSTINGS_KEY)) === 1, 60_000, 50);
  rmSync(join(raid, MARKER_NAME));
  startMachine({ name: 'north', queue: store.url, folder, words: ['--volumes', `raid=${raid}`] });
  const result = resultOf((await run.done).stdout);
  expect(result.findings.find(({ code }) => code === 'no-machine-fits')?.found).toContain(
    'north: volume-marker-missing: raid: ENOENT',
  );
  // Without it no run begins.
  const refused = await runCli(words);
  expect(refused.code).toBe(2);
  expect(refused.stdout).toContain('volume-marker-missing');
  writeFileSync(join(raid, MARKER_NAME), marker);
}, 240_000);
