/** A mixed day, one camera raw, one log, one plain: one command, and every roll is ready with what its camera is due. */
import { cpSync, mkdirSync, readdirSync, rmSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { readSettings } from '../../coordinator/settings/read.ts';
import { rollVerdictSchema, type RollVerdict } from '../../ledger/roll.ts';
import { commandProcess } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { recordsIn } from '../support/schemas.ts';
import { smallProfile } from '../support/night.ts';
import { packageFolder } from '../../files/installation.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'mixed-day');
const day = join(base, 'day-11');
const original = join(base, 'delivery');
const settings = join(base, 'show.yaml');
const proxy = join(packageFolder, smallProfile);
const cdls = join(base, 'day.ccc');
const correction = (id: string): string =>
  `<ColorCorrection id="${id}"><SOPNode><Slope>1.1 1 0.9</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode></ColorCorrection>`;

const settingsText = (ofB: string): string => `version: 1
show:
  owner: Bell foundry film
  time_zone: Europe/Berlin
  profiles: ['${proxy}']
  stills: { count: 0 }
  exposure: 0.5
  cdls: { path: '${cdls}' }
cameras:
  - name: A
    known_by: { rolls: [A###], model: Bell Foundry Test Pattern One }
    profiles: [grading-master-exr, grading-master-4444]
  - name: B
    known_by: { rolls: [B###] }
    profiles: ${ofB}
    input: { name: slog3-sgamut3cine }
    look: { file: '${join(base, 'warm.cube')}', from: acescct, to: acescct }
rolls:
  B011:
    clips:
      B011C002: { input: { name: logc3-awg3, ei: 800 } }
`;

/** The day with one of its rolls alone. */
function dayOf(roll: string): string {
  const alone = join(freshFolder('alone'), 'day-11');
  cpSync(join(day, roll), join(alone, roll), { recursive: true });
  return alone;
}

/** What the night delivered of one roll. */
function deliveryOf(roll: string): string {
  const delivery = freshFolder('delivery');
  cpSync(join(original, 'day-11', roll), join(delivery, 'day-11', roll), { recursive: true });
  return delivery;
}

const run = (of: string, delivery: string, file: string, ...more: string[]): ReturnType<typeof runCommand> =>
  runCommand([
    'run',
    of,
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
  writeFileSync(
    cdls,
    `<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.01">${['B011C001', 'B011C009'].map(correction).join('')}</ColorCorrectionCollection>`,
  );
  writeFileSync(join(base, 'warm.cube'), `LUT_3D_SIZE 2\n${'0.5 0.4 0.3\n'.repeat(8)}`);
  writeFileSync(settings, settingsText(`['${proxy}', grading-master-exr]`));
  night = await run(day, original, settings);
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
}, 240_000);

let night: Awaited<ReturnType<typeof runCommand>>;
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
  expect(
    verdictOf(original, 'B011').clips.map(({ settings: of }) =>
      of?.applied.find(({ setting }) => setting === 'input'),
    ),
  ).toEqual([
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

test('looks stand in the verdict with who stated them, and in the ACES Metadata File of every master; what matches nothing is a note', () => {
  const ofB = verdictOf(original, 'B011').clips.map(({ settings: of }) =>
    Object.fromEntries((of?.applied ?? []).map(({ setting, from }) => [setting, from])),
  );
  expect(ofB).toMatchObject([
    { exposure: 'show', cdl: 'cdls', look: 'camera', output: 'nobody' },
    { exposure: 'show', look: 'camera', output: 'nobody' },
  ]);
  expect(ofB[1]).not.toHaveProperty('cdl');
  const amf = (roll: string, path: string): string =>
    readFileSync(join(original, 'day-11', roll, path), 'utf8');
  const looks = (text: string): string[] =>
    [...text.matchAll(/<aces:description>((?:Exposure|CDL|Look)[^<]*)</g)].map((found) => found[1] as string);
  expect(looks(amf('B011', 'grading-master-exr/B011C001/B011C001.amf'))).toEqual([
    'Exposure: 0.5 stops',
    'CDL in acescct, B011C001 of day.ccc',
    'Look: warm.cube, from acescct to acescct',
  ]);
  expect(looks(amf('B011', 'grading-master-exr/B011C002/B011C002.amf'))).toEqual([
    'Exposure: 0.5 stops',
    'Look: warm.cube, from acescct to acescct',
  ]);
  expect(looks(amf('A011', 'grading-master-4444/A011C001.amf'))).toEqual(['Exposure: 0.5 stops']);
  // The table itself, the same between ACES2065-1 on both sides, and the exposure.
  expect(readdirSync(join(original, 'day-11', 'B011', 'reports', 'transforms'))).toHaveLength(3);
  expect(night.stdout).toMatch(/\[cdl-unmatched\]/);
  expect(night.stdout).toContain('1 of 2: day.ccc, correction 2, “B011C009”');
});

test('settings that are begun from the day read well, know its cameras, and fit it; no file is written over', async () => {
  const file = join(freshFolder('begun'), 'new.yaml');
  const begun = await runCommand(['settings', 'new', day, '--to', file]);
  expect(begun.code, begun.stderr).toBe(0);
  const text = readFileSync(file, 'utf8');
  const { file: read } = await readSettings(file);
  expect(read.cameras?.map(({ name, known_by: known }) => [name, known])).toEqual([
    ['A', expect.objectContaining({ model: 'Bell Foundry Test Pattern One' })],
    ['B', { rolls: ['B###'] }],
    ['C', { rolls: ['C###'] }],
  ]);
  expect(text).toMatch(/Not known.*\(2 of 2 clips/);
  expect(text).toMatch(/Tagged as bt709/);
  expect(text).toMatch(/rdd36 in .*, 256x144 at 24/);
  const again = await runCommand(['settings', 'new', day, '--to', file]);
  expect(again.code).toBe(2);
  expect(again.stderr).toContain('[settings-there]');
  expect(readFileSync(file, 'utf8')).toBe(text);
  const lint = await runCommand(['settings', 'lint', file, '--day', day]);
  expect(lint.stdout).toContain('is valid.');
  expect(lint.stdout).not.toMatch(/\[/);
  expect(lint.code).toBe(0);
  const ofShow = await runCommand(['settings', 'lint', settings, '--day', day]);
  expect(ofShow.code, ofShow.stdout).toBe(0);
  expect(ofShow.stdout).toMatch(/correction 1, “B011C001” +B011 B011C001, by clip name/);
  expect(ofShow.stdout).toMatch(/\[cdl-unmatched\]/);
  writeFileSync(
    join(base, 'wrong.yaml'),
    'version: 1\nshow:\n  exposure: 1\nrolls:\n  B011:\n    clips: { B011C009: { owner: x } }\n',
  );
  const wrong = await runCommand(['settings', 'lint', join(base, 'wrong.yaml'), '--day', dayOf('B011')]);
  expect(wrong.code).toBe(1);
  expect(wrong.stdout).toContain('[settings-clip-absent]');
  writeFileSync(join(base, 'broken.yaml'), 'version: 1\nshow:\n  exposure: much\n');
  const broken = await runCommand(['settings', 'lint', join(base, 'broken.yaml')]);
  expect(broken.code).toBe(2);
  expect(broken.stdout).toMatch(/line 3, show\.exposure/);
}, 120_000);

test('plan, status and audit go by the same: nothing left to make, all ready', async () => {
  const plan = await runCommand(['plan', day, '--deliver', original, '--settings', settings]);
  expect(plan.code, plan.stdout).toBe(0);
  expect(plan.stdout).toMatch(/correction 1, “B011C001” +B011 B011C001, by clip name/);
  expect(plan.stdout).toMatch(/^ +exposure +0\.5 stops \(by the show\)$/m);
  expect(plan.stdout).toMatch(/^ +cdl +B011C001 of day\.ccc: .*, by clip name \(by the CDLs of the show\)$/m);
  expect(plan.stdout).toContain('0 deliverables to make, 7 already done.');
  expect(plan.stdout).toMatch(/^B011, B011C002: camera B(;.*)?$/m);
  expect(plan.stdout).toMatch(/^ +input +\{"name":"logc3-awg3","ei":800\} \(by the clip\)$/m);
  // What the audit would hold for want of a file, a run makes again.
  const without = deliveryOf('B011');
  rmSync(join(without, 'day-11', 'B011', 'reports', 'transforms'), { recursive: true });
  const left = await runCommand(['plan', dayOf('B011'), '--deliver', without, '--settings', settings]);
  expect(left.stdout).toContain('4 deliverables to make, 0 already done.');
  const status = await runCommand(['status', original]);
  expect(status.code, status.stdout).toBe(0);
  expect(status.stdout).toMatch(
    /^ready \(1 copy\) {2}day-11\/C011 .*; decided \w+day \S+ \S+ Europe\/Berlin$/m,
  );
  const audit = await runCommand(['audit', original, '--quiet']);
  expect(audit.code, audit.stdout).toBe(0);
});

test('a profile that is due no more stays and is reported; one that is due again is not made again', async () => {
  const [ofB, delivery] = [dayOf('B011'), deliveryOf('B011')];
  const file = join(freshFolder('other-settings'), 'show.yaml');
  writeFileSync(file, settingsText('[dpx-10]'));
  const night = await run(ofB, delivery, file, '--quiet');
  expect(night.code, night.stdout).toBe(0);
  const verdict = verdictOf(delivery, 'B011');
  expect(verdict.profiles.map(({ name }) => name)).toEqual(['dpx-10']);
  expect(
    verdict.findings.filter(({ code }) => code === 'deliverable-earlier').map(({ profile }) => profile),
  ).toEqual(['grading-master-exr', 'small-vc3']);
  const audit = await runCommand(['audit', delivery, '--quiet']);
  expect(audit.code, audit.stdout).toBe(0);
  const again = await run(ofB, delivery, settings);
  expect(again.code, again.stdout).toBe(0);
  expect(again.stderr).toMatch(/B011: 2 clips, 0 to make, 4 already done/);
}, 240_000);

test('a verdict that leaves a due profile out of a clip is held by the audit', async () => {
  const delivery = deliveryOf('C011');
  const path = join(delivery, 'day-11', 'C011', 'roll.json');
  const verdict = JSON.parse(readFileSync(path, 'utf8')) as { clips: { settings?: unknown }[] };
  delete verdict.clips[0]?.settings;
  writeFileSync(path, JSON.stringify(verdict));
  const audit = await runCommand(['audit', delivery, '--quiet']);
  expect(audit.code).toBe(1);
  expect(audit.stdout).toContain('does not say which profiles are due');
});

test('settings for a clip that the roll does not have hold it, and the others are made', async () => {
  const file = join(freshFolder('slip'), 'show.yaml');
  writeFileSync(file, settingsText(`['${proxy}', grading-master-exr]`).replace('B011C002', 'B011C003'));
  const plan = await runCommand(['plan', day, '--deliver', original, '--settings', file]);
  expect(plan.code).toBe(1);
  expect(plan.stdout).toContain('[settings-clip-absent]');
  expect(plan.stdout).toContain('settings for B011C003');
});
