/** From the clock of a worker to what a machine keeps of it. */
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { joined, readSpeeds, speedsPlace, writeSpeeds } from '../../coordinator/forecast/keep.ts';
import { kindText } from '../../coordinator/forecast/kind.ts';
import {
  type FinishedReports,
  type JobSample,
  sampleOf,
  wholeSeconds,
} from '../../coordinator/forecast/sample.ts';
import { ownerName, thisOwner } from '../../ledger/owner.ts';
import { countBeside } from '../../worker/beside.ts';
import { startJobClock } from '../../worker/job-clock.ts';
import { freshFolder } from '../support/folder.ts';

test('a job clock knows each part, what a deliverable had of it, and the whole', () => {
  let now = 1000;
  const clock = startJobClock(() => now);
  const spend = (milliseconds: number): void => {
    now += milliseconds;
  };
  spend(100);
  clock.enter('make');
  spend(5000);
  clock.enter('check');
  spend(700);
  clock.enter('publish');
  spend(30);
  expect(clock.tell('check')).toBeCloseTo(0.7, 9);
  clock.enter('make');
  spend(20);
  clock.enter('check');
  spend(300);
  expect(clock.tell('check')).toBeCloseTo(0.3, 9);
  expect(clock.of('check')).toBeCloseTo(1, 9);
  expect(clock.of('make')).toBeCloseTo(5.02, 9);
  expect(clock.of('claim')).toBeCloseTo(0.1, 9);
  expect(clock.of('stills')).toBe(0);
  expect(clock.whole()).toBeCloseTo(6.15, 9);
});

describe('what runs beside a job', () => {
  test('is counted over its time, whoever started it, and what a dead process left is taken away', async () => {
    const folder = freshFolder('beside');
    let now = 0;
    const first = await countBeside(folder, () => now);
    now = 10_000;
    const second = await countBeside(folder, () => now);
    now = 20_000;
    // Alone for ten seconds, then beside one: what is known of the first ten is what was seen at their ends.
    expect(await second.mean()).toBe(1);
    const mean = await first.mean();
    expect(mean).toBeGreaterThan(0);
    expect(mean).toBeLessThanOrEqual(1);
    // A process that is gone: the number is ours, its birth is not.
    const dead = `${ownerName({ ...thisOwner(), born: '0123456789ab' })}-0123456789ab`;
    writeFileSync(join(folder, dead), '');
    // Of another container: whether it lives nobody can say.
    const elsewhere = `${ownerName({ ...thisOwner(), space: '0123456789ab' })}-0123456789ab`;
    writeFileSync(join(folder, elsewhere), '');
    const third = await countBeside(folder, () => now);
    expect(await third.mean()).toBe(2);
    expect(existsSync(join(folder, dead))).toBe(false);
    for (const one of [first, second, third]) await one.end();
    expect(readdirSync(folder)).toEqual([elsewhere]);
  });

  test('a state folder that cannot be written is no trouble of the job', async () => {
    const place = join(freshFolder('beside'), 'file');
    writeFileSync(place, '');
    const beside = await countBeside(place);
    expect(await beside.mean()).toBeNull();
    await beside.end();
  });
});

const kind = {
  ...{ codec: 'vc3', width: 1920, height: 1080, stills: 1 },
  profiles: [
    { name: 'a', hash: 'aa' },
    { name: 'b', hash: 'bb' },
  ],
};
const job = { run: 'r1', rollName: 'A001', clip: 'c1', frames: 240, kind };
const ofJob = { machine: 'm', waited: 0.2, beside: 1, claim: 0.1, make: 5 };
const report = (over: object = {}, spent: object = {}) => ({
  ...{ run: 'r1', state: 'published', attempt: 1 },
  spent: { ...ofJob, job: 7, check: 1, publish: 0.5, ...spent },
  ...over,
});
const reports = (over: Partial<FinishedReports> = {}): FinishedReports => ({
  deliverables: [report(), report({}, { job: 8.6, check: 1.2, publish: 0.3 })],
  stills: { ...{ run: 'r1', state: 'published', attempt: 1 }, spent: { ...ofJob, job: 10, stills: 1.4 } },
  ...over,
});

describe('what a finished job teaches', () => {
  test('every part of it, together the whole', () => {
    const sample = sampleOf(job, reports());
    expect(sample).toMatchObject({ machine: 'm', frames: 240, beside: 1, waited: 0.2, kind });
    expect(sample === null ? 0 : wholeSeconds(sample)).toBeCloseTo(10, 9);
    expect(sample?.parts.map(({ part, profile }) => `${part} ${profile}`)).toEqual([
      ...[
        'claim null',
        'make null',
        'check aa',
        'publish aa',
        'check bb',
        'publish bb',
        'stills null',
        'rest null',
      ],
    ]);
  });

  test.each<[string, Partial<FinishedReports>]>([
    ['of another run', { deliverables: [report({ run: 'r0' }), report()] }],
    ['that failed', { deliverables: [report({ state: 'failed' }), report()] }],
    ['of a second attempt', { deliverables: [report({ attempt: 2 }), report()] }],
    ['of an older version', { deliverables: [report({ spent: undefined }), report()] }],
    ['that is not there', { deliverables: [null, report()] }],
    ['of another machine', { deliverables: [report({}, { machine: 'n' }), report()] }],
    ['whose stills are not there', { stills: null }],
  ])('nothing of one with a report %s', (_, over) => {
    expect(sampleOf(job, reports(over))).toBeNull();
  });

  test('a kind is told in words', () => {
    expect(kindText(kind)).toBe('vc3 1920x1080 to a and b');
    expect(kindText({ ...kind, profiles: [] })).toBe('vc3 1920x1080 to 1 still');
  });
});

describe('what a machine keeps', () => {
  const sample = (clip: string, run = 'r1'): JobSample => {
    const made = sampleOf(
      { ...job, clip, run },
      {
        deliverables: [report({ run }), report({ run })],
        stills: { ...{ run, state: 'published', attempt: 1 }, spent: { ...ofJob, job: 10, stills: 1.4 } },
      },
    );
    if (made === null) throw new Error('no sample');
    return made;
  };

  test('is added to what other runs wrote meanwhile, each job once', async () => {
    const path = speedsPlace(freshFolder('speeds'));
    await writeSpeeds([sample('c1')], path);
    await writeSpeeds([sample('c2', 'r2')], path);
    await writeSpeeds([sample('c1'), sample('c3')], path);
    const { jobs, findings } = await readSpeeds(path);
    expect(findings).toEqual([]);
    expect(jobs.map(({ clip }) => clip)).toEqual(['c2', 'c1', 'c3']);
  });

  test('the last sixty of each kind and machine', () => {
    const many = Array.from({ length: 100 }, (_, index) => sample(`c${index}`));
    const kept = joined(many.slice(0, 50), many.slice(50));
    expect(kept).toHaveLength(60);
    expect(kept[0]?.clip).toBe('c40');
    expect(kept.at(-1)?.clip).toBe('c99');
  });

  test.each([
    ['is torn', '{"version": 0, "kind": "speeds", "jobs": [{'],
    ['is of another version', '{"version": 9, "kind": "speeds", "jobs": []}'],
    ['is something else', '[1, 2, 3]'],
    [
      'has impossible numbers',
      JSON.stringify({ version: 0, kind: 'speeds', jobs: [{ ...sample('c1'), frames: -1 }] }),
    ],
  ])('a file that %s is a note, is kept aside, and nobody waits for it', async (_, text) => {
    const folder = freshFolder('speeds');
    const path = speedsPlace(folder);
    writeFileSync(path, text);
    const read = await readSpeeds(path);
    expect(read.jobs).toEqual([]);
    expect(read.findings.map(({ code, file }) => [code, file])).toEqual([['speeds-unreadable', path]]);
    await writeSpeeds([sample('c1')], path);
    expect((await readSpeeds(path)).jobs).toHaveLength(1);
    expect(readFileSync(`${path}.unreadable`, 'utf8')).toBe(text);
  });

  test('a folder under its name is a note as well', async () => {
    const path = speedsPlace(freshFolder('speeds'));
    mkdirSync(path);
    expect((await readSpeeds(path)).findings).toHaveLength(1);
  });
});
