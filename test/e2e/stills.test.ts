/** Stills of a real night: what lies there, who finds it when it is another, and what a second night does with it. */
import { copyFileSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import type { RollVerdict } from '../../ledger/roll.ts';
import { commandProcess, runCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { stateOf } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { essence, smallProfile } from '../support/night.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'stills-night');
const day = join(base, 'day-03');
const delivery = join(base, 'delivery');
const settings = join(base, 'show.yaml');
const rollOf = (of: string): string => join(of, 'day-03', 'B001');
const verdictIn = (of: string): RollVerdict =>
  JSON.parse(readFileSync(join(rollOf(of), 'roll.json'), 'utf8')) as RollVerdict;

function write(exposure: number): void {
  writeFileSync(
    settings,
    `version: 1\nshow:\n  input: { name: slog3-sgamut3cine }\n  exposure: ${exposure}\n  stills: { count: 3, width: 160 }\n`,
  );
}

const night = (...more: string[]): ReturnType<typeof runCli> =>
  runCli([
    ...['run', day, '--deliver', delivery, '--work', join(base, 'work'), '--profile', smallProfile],
    ...['--settings', settings, '--workers', '1', ...more],
  ]);

beforeAll(async () => {
  mkdirSync(base, { recursive: true });
  await makeDay(day, { B001: { 'B001C001.mov': { frames: 10, size: '320x180', timecode: '11:20:00:00' } } });
  write(0);
  const ran = await night();
  expect(ran.code, ran.stdout + ran.stderr).toBe(0);
});

test('are named by verdict and statement, with frame, timecode, size and digest', () => {
  const [clip] = verdictIn(delivery).clips;
  expect(
    clip?.stills?.map(({ frame, timecode, width, height, file }) => [frame, timecode, width, height, file]),
  ).toEqual([
    [1, '11:20:00:01', 160, 90, 'reports/stills/B001C001.000001.png'],
    [5, '11:20:00:05', 160, 90, 'reports/stills/B001C001.000005.png'],
    [8, '11:20:00:08', 160, 90, 'reports/stills/B001C001.000008.png'],
  ]);
  const statement = JSON.parse(readFileSync(join(rollOf(delivery), 'statement.json'), 'utf8')) as {
    subject: { name: string; digest: { sha256: string } }[];
    predicate: { records: { name: string }[] };
  };
  for (const { file, sha256 } of clip?.stills ?? [])
    expect(statement.subject).toContainEqual({ name: file, digest: { sha256 } });
  expect(statement.predicate.records.map(({ name }) => name)).toContain('reports/stills/B001C001.json');
  expect(readdirSync(join(rollOf(delivery), 'reports', 'stills')).sort()).toEqual([
    'B001C001.000001.png',
    'B001C001.000005.png',
    'B001C001.000008.png',
    'B001C001.json',
  ]);
});

test('an audit passes what nobody touched, and finds a still of another frame, one with another byte, and one too many', async () => {
  expect((await runCommand(['audit', delivery])).code).toBe(0);
  const copy = join(freshFolder('copy'), 'delivery');
  copyDay(delivery, copy);
  const stills = join(rollOf(copy), 'reports', 'stills');
  copyFileSync(join(stills, 'B001C001.000008.png'), join(stills, 'B001C001.000001.png'));
  const bytes = readFileSync(join(stills, 'B001C001.000005.png'));
  bytes.writeUInt8(bytes.readUInt8(bytes.length - 20) ^ 1, bytes.length - 20);
  writeFileSync(join(stills, 'B001C001.000005.png'), bytes);
  copyFileSync(join(stills, 'B001C001.000008.png'), join(stills, 'B001C001.000009.png'));
  const audit = await runCommand(['audit', copy, '--json']);
  expect(audit.code).toBe(1);
  const { rolls } = JSON.parse(audit.stdout) as { rolls: { findings: { code: string; file?: string }[] }[] };
  const found = rolls[0]?.findings.map(({ code, file }) => `${code} ${file ?? ''}`) ?? [];
  for (const line of [
    'still-changed reports/stills/B001C001.000001.png',
    'still-form-wrong reports/stills/B001C001.000001.png',
    'still-changed reports/stills/B001C001.000005.png',
    'still-form-wrong reports/stills/B001C001.000005.png',
    'delivery-file-unexplained reports/stills/B001C001.000009.png',
  ])
    expect(found).toContain(line);
});

test('a second night keeps them', async () => {
  const place = join(rollOf(delivery), 'reports', 'stills', 'B001C001.000005.png');
  const before = statSync(place).mtimeMs;
  const again = await night();
  expect([again.code, statSync(place).mtimeMs]).toEqual([0, before]);
});

test('another look leaves what is ready as it is until it is asked to replace it', async () => {
  const before = stateOf(rollOf(delivery));
  const media = essence(delivery);
  write(1);
  const planned = await runCommand([
    ...['plan', day, '--deliver', delivery, '--profile', smallProfile, '--settings', settings, '--json'],
  ]);
  const { findings, jobs } = JSON.parse(planned.stdout) as {
    findings: { code: string; profile?: string; found: string }[];
    jobs: unknown[];
  };
  const ofKind = findings.filter(({ code }) => code === 'ready-made-otherwise');
  expect([planned.code, jobs, ofKind.map(({ profile }) => profile)]).toEqual([
    1,
    [],
    ['small-vc3', undefined],
  ]);
  for (const { found } of ofKind) expect(found).toMatch(/shown\.way\.exposure 0, now 1/);

  const left = await night();
  expect([left.code, stateOf(rollOf(delivery))]).toEqual([1, before]);
  expect(left.stdout).toContain('[ready-made-otherwise]');
  expect(verdictIn(delivery).verdict).toBe('ready');

  const replaced = await night('--replace');
  expect(replaced.code, replaced.stdout + replaced.stderr).toBe(0);
  for (const file of ['small-vc3/B001C001.mov', 'reports/stills/B001C001.000005.png'])
    expect(essence(delivery)[`day-03/B001/${file}`], file).not.toEqual(media[`day-03/B001/${file}`]);
  expect((await runCommand(['audit', delivery])).code).toBe(0);
}, 240_000);
