/** Encoders that are missing, old, mute, killed, stuck or that lie; records that somebody damaged. Each costs what it touches and nothing else. */
import { existsSync, readFileSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { NightResult } from '../../coordinator/night/request.ts';
import { layout } from '../../ledger/layout.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { type CliResult, commandProcess, type RunCommand, type RunningCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { codesOfClip, readVerdict } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import {
  essence,
  nightCommand,
  type NightFoldersForTest,
  processesWith,
  resultOf,
  startNight,
} from '../support/night.ts';
import { standIn } from '../support/stand-in.ts';

const runCommand = commandProcess();

const base = join(sharedFolder, 'bad-tools');
const day = join(base, 'day-06');
const copy = join(base, 'copy', 'day-06');
const clip = { frames: 24, size: '256x144' };
/** Clips of A001; what spoils those of the long lane alone, test/worker/job.test.ts has in npm test. */
const numbers: readonly number[] = [1, 2, ...further(3, 4, 5)];

/**
 * The system's ffmpeg, which spoils what it makes of some clips, known by their names on its command line:
 * killed in mid-job, stuck without a word, ending with 0 after a whole but shorter file, and after a file cut off.
 */
function spoiler(): string {
  const path = join(base, 'spoiler');
  writeFileSync(
    path,
    `#!/bin/sh
case "$*" in *.rushlight-part-*-progress*|*-progress*.rushlight-part-*) ;; *) exec ffmpeg "$@" ;; esac
staged=$(printf '%s\\n' "$@" | sed -n 's/.*]file:\\([^|]*\\)|.*/\\1/p' | tail -n 1)
case "$*" in
  *A001C002.mov*) ffmpeg "$@" & sleep 0.1; kill -9 $! $$ ;;
  *A001C003.mov*) exec sleep 600 ;;
  *A001C004.mov*) ffmpeg "$@" && ffmpeg -v error -nostdin -y -i "$staged" -map 0 -c copy -map_metadata 0 -frames:v 12 "$staged.short.mov" && mv "$staged.short.mov" "$staged" ;;
  *A001C005.mov*) ffmpeg "$@" && truncate -s 100000 "$staged" ;;
  *) exec ffmpeg "$@" ;;
esac
`,
    { mode: 0o755 },
  );
  return path;
}

function fresh(): NightFoldersForTest {
  const folder = freshFolder('tools');
  return { day, copy, delivery: join(folder, 'delivery'), work: join(folder, 'work') };
}

let mute: RunningCli;
const spoiled: NightFoldersForTest = {
  day,
  copy,
  delivery: join(base, 'delivery'),
  work: join(base, 'work'),
};

beforeAll(async () => {
  await makeDay(day, {
    A001: Object.fromEntries(
      numbers.map((number) => [`A001C00${number}.mov`, { ...clip, timecode: `0${number}:00:00:00` }]),
    ),
    B001: { 'B001C001.mov': { ...clip, timecode: '10:00:00:00' } },
  });
  copyDay(day, copy);
  // Waited for for twenty seconds; other nights run meanwhile.
  mute = startNight(
    { day, copy, delivery: join(base, 'mute-delivery'), work: join(base, 'mute-work') },
    '--ffmpeg',
    standIn(join(base, 'mute'), 'ffmpeg', 'hang'),
  );
}, 60_000);

function expectRefused(ended: Awaited<ReturnType<RunCommand>>, code: string): void {
  expect(ended.code, ended.stderr).toBe(3);
  expect(JSON.parse(ended.stdout)).toMatchObject({ kind: 'refusal', findings: [{ code, file: 'ffmpeg' }] });
}

test('an ffmpeg that is not where it is said to be: exit 3, nothing delivered', async () => {
  const folders = fresh();
  expectRefused(await runCommand(nightCommand(folders, '--ffmpeg', join(base, 'nowhere'))), 'tool-missing');
  expect(existsSync(folders.delivery)).toBe(false);
});

test('an ffmpeg that is too old: exit 3, nothing delivered', async () => {
  const folders = fresh();
  expectRefused(
    await runCommand(
      nightCommand(folders, '--ffmpeg', standIn(join(folders.work, '..', 'old'), 'ffmpeg', 'version 4.2.7')),
    ),
    'tool-too-old',
  );
  expect(existsSync(folders.delivery)).toBe(false);
});

describe('an encoder that spoils clips of a roll', () => {
  let ended: CliResult;
  let result: NightResult;
  let verdict: RollVerdict;

  beforeAll(async () => {
    ended = await startNight(
      spoiled,
      '--ffmpeg',
      spoiler(),
      '--stall-seconds',
      '5',
      '--workers',
      everyRow ? '2' : '1',
    ).done;
    result = resultOf(ended.stdout);
    verdict = await readVerdict(spoiled.delivery, 'day-06', 'A001');
  }, 120_000);

  test('ends with 1, by itself, without a word against the night as a whole', () => {
    expect(ended.code, ended.stderr).toBe(1);
    expect(result.findings).toEqual([]);
    expect(result.rolls.map((roll) => [roll.roll, roll.verdict, roll.clips, roll.clipsReady])).toEqual([
      ['A001', 'held', numbers.length, 1],
      ['B001', 'ready', 1, 1],
    ]);
  });

  test.each<[string, string, string]>([
    ['killed in mid-job at every attempt', 'A001C002', 'encoder-killed'],
    ...further<[string, string, string]>(
      ['ending with 0 after half the frames', 'A001C004', 'frame-count-differs'],
      ['stuck at every attempt', 'A001C003', 'encoder-stalled'],
      ['ending with 0 after a file cut off', 'A001C005', 'deliverable-unreadable'],
    ),
  ])('%s: the clip is held in roll.json by that', (_what, id, code) => {
    expect(codesOfClip(verdict, id)).toContain(code);
    expect(verdict.clips.find((entry) => entry.clip.id === id)?.verdict).toBe('held');
  });

  test('publishes the other clips, and nothing else', () => {
    expect(Object.keys(essence(spoiled.delivery)).sort()).toEqual([
      'day-06/A001/small-vc3/A001C001.mov',
      'day-06/B001/small-vc3/B001C001.mov',
    ]);
    expect(processesWith(spoiled.delivery)).toEqual([]);
  });

  test('with an intact ffmpeg the next run makes those and keeps the rest; damaged records are no obstacle: the verdict is written again, a deliverable without its report is made again', async () => {
    const roll = (name: string): string => layout.rollFolder(spoiled.delivery, 'day-06', name);
    const before = essence(spoiled.delivery);
    writeFileSync(layout.verdict(roll('B001')), '{"version": 1, "kind": ');
    truncateSync(layout.deliverableReport(roll('A001'), 'A001C001', 'small-vc3'), 200);
    writeFileSync(layout.deliverableReport(roll('A001'), 'A001C002', 'small-vc3'), Buffer.alloc(64));
    const again = await startNight(spoiled).done;
    expect(again.code, again.stderr).toBe(0);
    expect(resultOf(again.stdout).rolls.map((entry) => [entry.roll, entry.kept, entry.made])).toEqual([
      ['A001', 0, numbers.length],
      ['B001', 1, 0],
    ]);
    for (const name of ['A001', 'B001'])
      expect((await readVerdict(spoiled.delivery, 'day-06', name)).verdict).toBe('ready');
    // What stood is made to the same bytes.
    expect(essence(spoiled.delivery)).toMatchObject(before);
    expect(
      JSON.parse(readFileSync(layout.deliverableReport(roll('A001'), 'A001C001', 'small-vc3'), 'utf8')),
    ).toMatchObject({ kind: 'deliverable', state: 'published' });
  }, 120_000);
});

test('an ffmpeg that does not answer -version: exit 3 after a while, nothing left running', async () => {
  expectRefused(await mute.done, 'tool-unusable');
  expect(existsSync(join(base, 'mute-delivery'))).toBe(false);
  expect(processesWith(join(base, 'mute'))).toEqual([]);
}, 60_000);

test('a queue that cannot be reached is reported once, and the night is refused', async () => {
  const folders = fresh();
  const ended = await runCommand([
    'run',
    folders.day,
    '--deliver',
    folders.delivery,
    '--work',
    folders.work,
    '--queue',
    'redis://127.0.0.1:1',
  ]);
  expect(ended.code).toBe(2);
  expect(ended.stdout).toBe('');
  expect(ended.stderr.split('[queue-unreachable]')).toHaveLength(2);
});
