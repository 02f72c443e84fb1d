/**
 * `plan` says before a run what the run then finds: over rolls that are good, and bad in every way that is known before the
 * making. What is only read is left exactly as it was.
 */
import { execFileSync } from 'node:child_process';
import { appendFileSync, existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, onTestFinished, test, type TestContext } from 'vitest';
import type { Finding } from '../../findings/finding.ts';
import { commandProcess } from '../support/cli.ts';
import { copyDay, makeDay, writeMd5Manifest } from '../support/day.ts';
import { stateOf } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';
import { needsRoot } from '../support/root.ts';

const runCommand = commandProcess();

const base = join(sharedFolder, 'plan-and-run');
let works = 0;

/** What identifies a finding for people. */
const lines = (findings: readonly Finding[]): string[] =>
  findings
    // That a deliverable is not there can be said only after the making.
    .filter(({ code }) => code !== 'deliverable-absent')
    .map(({ code, copy = '', clip = '', file = '', profile = '', found, expected }) =>
      [code, copy, clip, file, profile, found, expected].join(' | '),
    )
    .sort();

interface Both {
  /** Lines by roll; `` is the day. */
  readonly plan: ReadonlyMap<string, string[]>;
  readonly run: ReadonlyMap<string, string[]>;
}

interface Question {
  readonly day: string;
  readonly delivery: string;
  readonly more: readonly string[];
  /** Looks at what the plan left. */
  readonly planned?: () => void;
}

const cache = join(base, 'cache');
async function bothOf({ day, delivery, more, planned: look }: Question): Promise<Both> {
  const args = [day, '--deliver', delivery, '--json', '--quiet', '--stills', '0', ...more];
  const planned = await runCommand(['plan', ...args], { XDG_CACHE_HOME: cache });
  expect(planned.stderr).toBe('');
  look?.();
  const plan = JSON.parse(planned.stdout) as { findings: Finding[]; rolls: { roll: string }[] };
  const ran = await runCommand(['run', ...args, '--work', join(base, `work-${works++}`)]);
  const run = JSON.parse(ran.stdout) as {
    findings: Finding[];
    rolls: { roll: string; findings: Finding[] }[];
  };
  const rolls = plan.rolls.map(({ roll }) => roll);
  const ofDay = (item: Finding): boolean => item.roll === undefined || !rolls.includes(item.roll);
  return {
    plan: new Map([
      ['', lines(plan.findings.filter(ofDay))],
      ...rolls.map((roll): [string, string[]] => [
        roll,
        lines(plan.findings.filter((item) => item.roll === roll)),
      ]),
    ]),
    run: new Map([
      ['', lines(run.findings)],
      ...run.rolls.map(({ roll, findings }): [string, string[]] => [roll, lines(findings)]),
    ]),
  };
}

describe('a day of good and bad rolls', () => {
  let both: Both;
  let [untouched, checked, planned, ran]: string[][] = [[], [], [], []];
  const delivery = join(base, 'delivery');
  let words: string[] = [];

  beforeAll(async () => {
    // Each of its own hour: rolls of one content are held for that.
    const good = (hour: number) => ({ 'bell.mov': { frames: 6, timecode: `0${hour}:00:00:00` } });
    const day = await makeDay(join(base, 'day-05'), {
      A001: good(1),
      A002: good(2),
      A003: good(3),
      A004: {},
      A005: good(4),
      B001: { 'good.mov': { frames: 6 }, 'without.mov': { frames: 6, timecode: null } },
      B002: { 'untagged.mov': { frames: 6, tagged: false } },
      B003: { 'left/bell.mov': { frames: 6 }, 'right/bell.mov': { frames: 6, timecode: '02:00:00:00' } },
      B004: good(5),
      Straße: good(6),
      STRASSE: good(7),
    });
    writeFileSync(join(day, 'A004', 'notes.txt'), 'no clip was shot\n');
    writeMd5Manifest(join(day, 'A004'));
    rmSync(join(day, 'A005', 'checksums.md5'));
    writeFileSync(join(day, 'B004', 'empty.mov'), '');
    writeMd5Manifest(join(day, 'B004'));
    const copy = copyDay(day, join(base, 'copy', 'day-05'));
    appendFileSync(join(day, 'A002', 'bell.mov'), 'x');
    rmSync(join(copy, 'A003'), { recursive: true });
    copyDay(join(day, 'A001'), join(copy, 'C001'));
    const profile = join(base, 'strict.yaml');
    writeFileSync(
      profile,
      `version: 1
name: strict
summary: VC-3 at the size of the source, of tagged sources
extends: editorial-vc3
raster: { policy: native, width: null, height: null, multiple_of: 1, enlarge: false }
colour: { primaries: source, transfer: source, matrix: source, range: limited, untagged: hold }
`,
    );
    words = [day, '--deliver', delivery, '--copy', copy, '--profile', profile, '--stills', '0'];
    const sources = (): string[] => [...stateOf(day), ...stateOf(copy)];
    const written = (): string[] => [delivery, cache].filter((path) => existsSync(path));
    untouched = sources();
    await runCommand(['check', day, '--copy', copy, '--json', '--quiet'], { XDG_CACHE_HOME: cache });
    checked = [...sources(), ...written()];
    both = await bothOf({
      day,
      delivery,
      more: ['--copy', copy, '--profile', profile],
      planned: () => {
        planned = [...sources(), ...written()];
      },
    });
    ran = sources();
  }, 240_000);

  test('check and plan write nothing anywhere', () => {
    expect(checked).toEqual(untouched);
    expect(planned).toEqual(untouched);
  });

  test('a night leaves its sources as they were', () => {
    expect(ran).toEqual(untouched);
  });

  test.each([
    ['good', 'A001', []],
    ['with a byte too many', 'A002', ['copy-differs', 'copy-not-verified', 'file-checksum-differs']],
    ['that is not in the copy', 'A003', ['copy-lacks-roll', 'copy-not-verified']],
    ['without a clip', 'A004', ['roll-empty']],
    ['without a manifest', 'A005', ['copy-not-verified', 'copy-not-verified', 'manifest-missing']],
    ['with a clip that the profile refuses', 'B001', ['timecode-missing']],
    ['of unknown colour', 'B002', ['colour-untagged']],
    ['with two clips of one name', 'B003', ['name-collision', 'name-collision']],
    ['with an empty file', 'B004', ['clip-empty', 'file-empty']],
    ['whose name some file system takes for that of another one', 'STRASSE', []],
    ['that only the copy has, and one whose name meets another one', '', ['roll-only-in-copy', 'roll-twice']],
  ])('a roll %s', (_what, roll, codes) => {
    expect(both.plan.get(roll)).toEqual(both.run.get(roll));
    // Every folder of a test lies on one drive; what only the copy has is no roll with copies.
    const isInCopy = roll !== '' && !codes.includes('copy-lacks-roll');
    const noted = isInCopy ? [...codes, 'copy-same-drive'].sort() : codes;
    expect(both.plan.get(roll)?.map((line) => line.split(' | ')[0])).toEqual(noted);
  });

  test('a run of some rolls takes these alone, in the order that is asked for, and leaves all others as they are', async () => {
    const others = (): string[] =>
      ['A001', 'A002', 'B001', 'B003'].flatMap((roll) => stateOf(join(delivery, 'day-05', roll)));
    const before = others();
    const part = [...words, '--json', '--quiet', '--roll', 'A003', '--roll', 'B002'];
    const more = ['--first', 'B002', '--work', join(base, `work-${works++}`)];
    const ran = JSON.parse((await runCommand(['run', ...part, ...more])).stdout) as {
      findings: Finding[];
      rolls: { roll: string; findings: Finding[] }[];
    };
    expect(ran.rolls.map(({ roll, findings }) => [roll, lines(findings)])).toEqual(
      ['B002', 'A003'].map((roll) => [roll, both.run.get(roll)]),
    );
    // What speaks of other rolls of the day is not about these.
    expect(ran.findings).toEqual([]);
    expect(others()).toEqual(before);
    const planned = JSON.parse((await runCommand(['plan', ...part])).stdout) as { rolls: { roll: string }[] };
    expect(planned.rolls.map(({ roll }) => roll)).toEqual(['A003', 'B002']);
  }, 120_000);

  test('a roll that the day does not have is named, with those that it has', async () => {
    const { code, stdout } = await runCommand(['run', ...words, '--json', '--roll', 'A001', '--first', 'Z9']);
    expect(code).toBe(2);
    expect(stdout).toContain('no roll Z9');
    expect(stdout).toContain('rolls of the day: A001, A002');
  });

  test('no roll is left out by either', () => {
    expect([...both.plan.keys()].sort()).toEqual([...both.run.keys()].sort());
  });
});

test('one card under two names: both rolls of the day are held, and a roll that holds what another day delivered', async () => {
  const folder = freshFolder('one-card');
  const delivery = join(folder, 'delivery');
  const cards = { 'bell.mov': { frames: 6 } };
  const day = await makeDay(join(folder, 'day-01'), { A001: cards, A002: cards });
  const repeats = (rolls: ReadonlyMap<string, string[]>): string[] =>
    [...rolls.values()].flat().filter((line) => line.startsWith('roll-repeated'));
  const both = await bothOf({ day, delivery, more: [] });
  expect(repeats(both.plan)).toHaveLength(2);
  expect(repeats(both.run)).toEqual(repeats(both.plan));
  rmSync(join(day, 'A002'), { recursive: true });
  rmSync(join(delivery, 'day-01', 'A002'), { recursive: true });
  const one = await bothOf({ day, delivery, more: [] });
  expect([repeats(one.plan), repeats(one.run)]).toEqual([[], []]);
  const next = await makeDay(join(folder, 'day-02'), { A003: cards });
  const later = await bothOf({ day: next, delivery, more: [] });
  expect(repeats(later.run)).toEqual([
    'roll-repeated |  |  |  |  | all that it holds (1 media file) lies in A001 of day-01, on this delivery too | what no other roll holds',
  ]);
  expect(repeats(later.plan)).toEqual(repeats(later.run));
}, 120_000);

/** Needs root (mount(8), tmpfs). In npm test a plan says so in test/plan/plan.test.ts, a run in bad-targets.test.ts. */
const withoutRoom = async (context: TestContext): Promise<void> => {
  needsRoot(context);
  const folder = freshFolder('no-room');
  const day = await makeDay(join(folder, 'day-06'), { A001: { 'bell.mov': { frames: 48 } } });
  const volume = join(folder, 'volume');
  mkdirSync(volume);
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=1m', 'rushlight-test', volume]);
  onTestFinished(() => void execFileSync('umount', ['-l', volume]));
  const both = await bothOf({
    day,
    delivery: join(volume, 'delivery'),
    more: ['--profile', 'editorial-rdd36'],
  });
  const short = both.plan.get('A001') ?? [];
  expect(short.map((line) => line.split(' | ')[0])).toEqual(['target-short']);
  // A run has written its lease on the delivery before it looks, a plan nothing.
  const withoutFree = (lines: readonly string[] | undefined): string[] | undefined =>
    lines?.map((line) => line.replace(/\d+ bytes free/, 'bytes free'));
  expect(withoutFree(both.run.get('A001'))).toEqual(withoutFree(short));
};
if (everyRow) test('a delivery without room for the roll', withoutRoom, 120_000);
