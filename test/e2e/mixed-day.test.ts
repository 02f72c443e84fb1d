/** A mixed day, one camera raw, one log, one plain: one command, and every roll is ready with what its camera is due. */
import { cpSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { rollVerdictSchema, type RollVerdict } from '../../ledger/roll.ts';
import { runCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { recordsIn } from '../support/schemas.ts';
import { smallProfile } from '../support/night.ts';
import { packageFolder } from '../../files/installation.ts';

const base = join(sharedFolder, 'mixed-day');
const day = join(base, 'day-11');
const original = join(base, 'delivery');
const settings = join(base, 'show.yaml');
const proxy = join(packageFolder, smallProfile);

const settingsText = (ofB: string): string => `version: 1
show:
  owner: Bell foundry film
  time_zone: Europe/Berlin
  profiles: ['${proxy}']
cameras:
  - name: A
    known_by: { rolls: [A###], model: Bell Foundry Test Pattern One }
    profiles: [grading-master-exr, grading-master-4444]
  - name: B
    known_by: { rolls: [B###] }
    profiles: ${ofB}
    input: { name: slog3-sgamut3cine }
rolls:
  B011:
    clips:
      B011C002: { input: { name: logc3-awg3, ei: 800 } }
`;

const run = (delivery: string, file: string, ...more: string[]): ReturnType<typeof runCli> =>
  runCli([
    'run',
    day,
    '--deliver',
    delivery,
    '--work',
    join(base, 'work'),
    '--settings',
    file,
    '--workers',
    '1',
    ...more,
  ]);

beforeAll(async () => {
  mkdirSync(join(day, 'A011', 'A011C001'), { recursive: true });
  for (const roll of ['B011', 'C011']) mkdirSync(join(day, roll));
  for (let frame = 0; frame < 3; frame += 1)
    writeFileSync(
      join(day, 'A011', 'A011C001', `A011C001_${String(frame).padStart(6, '0')}.dng`),
      buildDng({
        width: 64,
        height: 48,
        samples: testSamples(64, 48, 12, frame + 1),
        bits: 12,
        jpeg: {},
        rate: [24, 1],
        timecode: `11:00:00:${String(frame).padStart(2, '0')}`,
      }),
    );
  for (const [roll, clip, tagged] of [
    ['B011', 'B011C001', false],
    ['B011', 'B011C002', false],
    ['C011', 'C011C001', true],
  ] as const)
    await makeMovie(join(day, roll, `${clip}.mov`), {
      frames: 6,
      size: '256x144',
      rate: '24',
      timecode: '11:10:00:00',
      codec: 'prores',
      tagged,
    });
  for (const roll of ['A011', 'B011', 'C011']) writeMd5Manifest(join(day, roll));
  writeFileSync(settings, settingsText(`['${proxy}', grading-master-exr]`));
  const night = await run(original, settings);
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
}, 240_000);

const verdictOf = (delivery: string, roll: string): RollVerdict =>
  rollVerdictSchema.parse(JSON.parse(readFileSync(join(delivery, 'day-11', roll, 'roll.json'), 'utf8')));

test('every roll is ready with what its camera is due, and the verdict says who stated it', () => {
  const due = (roll: string): unknown[] =>
    verdictOf(original, roll).clips.map(({ settings: of, deliverables }) => [
      of?.camera,
      of?.applied.find(({ setting }) => setting === 'profiles')?.from,
      deliverables.map(({ profile, state }) => `${profile} ${state}`),
    ]);
  for (const roll of ['A011', 'B011', 'C011'])
    expect(verdictOf(original, roll)).toMatchObject({ verdict: 'ready', timeZone: 'Europe/Berlin' });
  expect(due('A011')).toEqual([
    ['A', 'camera', ['grading-master-exr published', 'grading-master-4444 published']],
  ]);
  const ofB = ['B', 'camera', ['small-vc3 published', 'grading-master-exr published']];
  expect(due('B011')).toEqual([ofB, ofB]);
  expect(due('C011')).toEqual([[null, 'show', ['small-vc3 published']]]);
  expect(verdictOf(original, 'B011').clips.map(({ settings: of }) => of?.applied[1])).toEqual([
    { setting: 'input', value: '{"name":"slog3-sgamut3cine"}', from: 'camera' },
    { setting: 'input', value: '{"name":"logc3-awg3","ei":800}', from: 'clip' },
  ]);
  expect(readdirSync(join(original, 'day-11', 'C011')).sort()).toEqual([
    'reports',
    'roll.json',
    'small-vc3',
    'statement.json',
  ]);
  expect(recordsIn(original).faults).toEqual([]);
});

test('plan, status and audit go by the same: nothing left to make, all ready', async () => {
  const plan = await runCli(['plan', day, '--deliver', original, '--settings', settings]);
  expect(plan.code, plan.stdout).toBe(0);
  expect(plan.stdout).toContain('0 deliverables to make, 7 already done.');
  expect(plan.stdout).toMatch(/^B011, B011C002: camera B(;.*)?$/m);
  expect(plan.stdout).toMatch(/^ +input +\{"name":"logc3-awg3","ei":800\} \(by the clip\)$/m);
  const status = await runCli(['status', original]);
  expect(status.code, status.stdout).toBe(0);
  expect(status.stdout).toMatch(
    /^ready \(1 copy\) {2}day-11\/C011 .*; decided \w+day \S+ \S+ Europe\/Berlin$/m,
  );
  const audit = await runCli(['audit', original, '--quiet']);
  expect(audit.code, audit.stdout).toBe(0);
});

test('a profile that is due no more stays and is reported; one that is due again is not made again', async () => {
  const delivery = freshFolder('other-night');
  cpSync(original, delivery, { recursive: true });
  const file = join(freshFolder('other-settings'), 'show.yaml');
  writeFileSync(file, settingsText('[dpx-10]'));
  const night = await run(delivery, file, '--quiet');
  expect(night.code, night.stdout).toBe(0);
  const verdict = verdictOf(delivery, 'B011');
  expect(verdict.profiles.map(({ name }) => name)).toEqual(['dpx-10']);
  expect(
    verdict.findings.filter(({ code }) => code === 'deliverable-earlier').map(({ profile }) => profile),
  ).toEqual(['grading-master-exr', 'small-vc3']);
  const audit = await runCli(['audit', delivery, '--quiet']);
  expect(audit.code, audit.stdout).toBe(0);
  const again = await run(delivery, settings);
  expect(again.code, again.stdout).toBe(0);
  expect(again.stderr).toMatch(/B011: 2 clips, 0 to make, 4 already done/);
}, 240_000);

test('a verdict that leaves a due profile out of a clip is held by the audit', async () => {
  const delivery = freshFolder('left-out');
  cpSync(original, delivery, { recursive: true });
  const path = join(delivery, 'day-11', 'C011', 'roll.json');
  const verdict = JSON.parse(readFileSync(path, 'utf8')) as { clips: { settings?: unknown }[] };
  delete verdict.clips[0]?.settings;
  writeFileSync(path, JSON.stringify(verdict));
  const audit = await runCli(['audit', delivery, '--quiet']);
  expect(audit.code).toBe(1);
  expect(audit.stdout).toContain('does not say which profiles are due');
});

test('settings for a clip that the roll does not have hold it, and the others are made', async () => {
  const file = join(freshFolder('slip'), 'show.yaml');
  writeFileSync(file, settingsText(`['${proxy}', grading-master-exr]`).replace('B011C002', 'B011C003'));
  const plan = await runCli(['plan', day, '--deliver', original, '--settings', file]);
  expect(plan.code).toBe(1);
  expect(plan.stdout).toContain('[settings-clip-absent]');
  expect(plan.stdout).toContain('settings for B011C003');
});
