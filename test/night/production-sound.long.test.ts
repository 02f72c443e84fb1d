/** A night whose proxies carry production sound, as its user runs it: run, audit, run again; and a sound roll that is not as its manifest says. */
import { appendFileSync, cpSync, existsSync, mkdtempSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { commandProcess } from '../support/cli.ts';
import { sharedFolder } from '../support/folder.ts';
import { resultOf, runWords } from '../support/night.ts';
import { makeSoundDay, tracksOf } from '../support/sound-day.ts';

const command = commandProcess();
const base = mkdtempSync(join(sharedFolder, 'production-night-'));
const delivery = join(base, 'delivery');
const profiles = ['test/fixtures/profiles/small-sound-tracks.yaml'];
const words = (day: string, into: string, ...more: string[]): string[] =>
  runWords(
    { day, delivery: into, work: join(base, 'work'), profiles },
    ...['--workers', '1', '--json', '--quiet', ...more],
  );
let day: string;

beforeAll(async () => {
  day = await makeSoundDay(join(base, 'day-07'));
  const night = await command(words(day, delivery));
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
}, 120_000);

test('each clip carries the recording that ran with it, every sample where it was recorded, and the log says so', () => {
  for (const { heard, wanted } of tracksOf(join(delivery, 'day-07', 'A001', 'small-sound-tracks')))
    expect(heard).toEqual(wanted);
  const log = readFileSync(join(delivery, 'day-07', 'handover', 'log.csv'), 'utf8').split('\r\n');
  const column = log[0]?.split(',').indexOf('production_sound') ?? -1;
  expect(column).toBeGreaterThan(0);
  for (const [line, file] of [
    [1, '24A-T03.wav'],
    [2, '24A-T04.wav'],
  ] as const)
    expect(log[line]).toContain(`S001 ${file}`);
  // Nothing of what jobs named is left.
  expect(existsSync(join(delivery, 'day-07', 'A001', 'reports', '.rushlight-jobs'))).toBe(false);
});

test('an audit, without the sources, says the same; another run makes nothing', async () => {
  const audit = await command(['audit', delivery, '--json', '--quiet']);
  const { rolls } = JSON.parse(audit.stdout) as {
    readonly rolls: readonly { roll: string; measured: string; statement: string }[];
  };
  expect([audit.code, rolls.map(({ roll, measured, statement }) => [roll, measured, statement])]).toEqual([
    0,
    [
      ['A001', 'ready', 'fits'],
      ['S001', 'ready', 'fits'],
    ],
  ]);
  const again = await command(words(day, delivery));
  expect([
    again.code,
    resultOf(again.stdout).rolls.map(({ roll, made, kept }) => [roll, made, kept]),
  ]).toEqual([
    0,
    [
      ['A001', 0, 2],
      ['S001', 0, 0],
    ],
  ]);
}, 60_000);

test('a sound roll that is not as its manifest says holds the clips that would carry it, and nothing is made', async () => {
  const spoiled = join(mkdtempSync(join(base, 'spoiled-')), 'day-07');
  cpSync(day, spoiled, { recursive: true });
  appendFileSync(join(spoiled, 'S001', '24A-T04.wav'), 'x');
  const into = join(base, 'spoiled-delivery');
  const night = await command(words(spoiled, into));
  const { rolls } = resultOf(night.stdout);
  expect([night.code, rolls.map(({ roll, verdict, made }) => [roll, verdict, made])]).toEqual([
    1,
    [
      ['A001', 'held', 0],
      ['S001', 'held', 0],
    ],
  ]);
  expect(rolls[0]?.findings.map(({ code, clip }) => [code, clip])).toEqual(
    expect.arrayContaining([
      ['production-sound-unread', 'A001C001'],
      ['production-sound-unread', 'A001C002'],
    ]),
  );
  expect(existsSync(join(into, 'day-07', 'A001', 'small-sound-tracks'))).toBe(false);
}, 60_000);
