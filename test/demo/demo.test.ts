/** The demo as its user runs it, and the shoot day that it makes, looked at by programs that are not ours. */
import { execFileSync, spawnSync } from 'node:child_process';
import {
  closeSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  readSync,
  rmSync,
  statSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { COPIES, DAMAGED, DAY, rolls } from '../../coordinator/demo/script.ts';
import { type CliResult, runCli } from '../support/cli.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';

let folder: string;
let first: CliResult;
beforeAll(async () => {
  folder = mkdtempSync(join(sharedFolder, 'demo-'));
  first = await runCli(['demo', '--folder', folder]);
}, 300_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const rollOn = (drive: string, roll: string): string => join(folder, 'shoot', drive, DAY, roll);
const filesOf = (roll: string): string[] =>
  rolls.find(({ name }) => name === roll)?.clips.map((clip) => clip.name) ?? [];

/** The damage is one bit: done twice, it is undone. */
function turnOver(): void {
  const path = join(rollOn(DAMAGED.copy, DAMAGED.roll), DAMAGED.clip);
  const place = Math.floor(statSync(path).size / 2);
  const file = openSync(path, 'r+');
  const byte = Buffer.alloc(1);
  readSync(file, byte, 0, 1, place);
  writeSync(file, Buffer.from([byte.readUInt8() ^ 1]), 0, 1, place);
  closeSync(file);
}

test('it ends well, with six rolls ready and one held, and says why', () => {
  expect(first.stderr).toContain('The Third Casting');
  expect(first).toMatchObject({ code: 0 });
  for (const roll of ['A001', 'A002', 'A003', 'B001', 'B003', 'S001'])
    expect(first.stdout).toMatch(new RegExp(`^ready \\(\\d cop(y|ies)\\)  ${roll} `, 'm'));
  expect(first.stdout).toMatch(/^HELD {3}B002 /m);
  expect(first.stdout).toContain('[file-checksum-differs]');
  expect(first.stdout).toContain('one bit of B002C001.mov on drive-c was flipped on purpose');
});

describe('the shoot day', () => {
  test('checksum files hold on every drive but the damaged one, says xxh128sum', () => {
    const says = (drive: string, roll: string): number | null =>
      spawnSync('xxh128sum', ['-c', `${roll}.xxh128`], { cwd: rollOn(drive, roll) }).status;
    expect(COPIES.map((drive) => says(drive, 'B001'))).toEqual([0, 0, 0]);
    expect(COPIES.map((drive) => says(drive, 'B002') === 0)).toEqual(
      COPIES.map((drive) => drive !== DAMAGED.copy),
    );
  });

  test('the damaged file differs in one byte, says cmp', () => {
    const lines = spawnSync(
      'cmp',
      ['-l', join(rollOn('drive-a', 'B002'), DAMAGED.clip), join(rollOn('drive-c', 'B002'), DAMAGED.clip)],
      { encoding: 'utf8' },
    )
      .stdout.trim()
      .split('\n');
    expect(lines).toHaveLength(1);
  });

  test('ASC MHL generations list the checksums that xxh128sum computes', () => {
    for (const roll of ['A001', 'A002']) {
      const history = join(folder, 'shoot', 'manifests', roll, 'ascmhl');
      const [manifest] = readdirSync(history).filter((name) => name.endsWith('.mhl'));
      const text = readFileSync(join(history, manifest as string), 'utf8');
      for (const name of filesOf(roll)) {
        const sum = execFileSync('xxh128sum', [join(rollOn('drive-b', roll), name)], {
          encoding: 'utf8',
        }).split(' ')[0] as string;
        expect(text).toMatch(new RegExp(`>${name}</path>\\s*<xxh128[^>]*>${sum}<`));
      }
    }
  });

  test.each(rolls.flatMap((roll) => roll.clips.map((clip) => [clip.name, roll.name, clip] as const)))(
    '%s of %s has its timecode, frames and audio, says MediaInfo',
    (name, roll, clip) => {
      const asked = (format: string): string =>
        execFileSync('mediainfo', [`--Inform=${format}`, join(rollOn('drive-a', roll), name)], {
          encoding: 'utf8',
        }).trim();
      expect(asked('Other;%TimeCode_FirstFrame%')).toBe(clip.timecode);
      expect(asked('Video;%FrameCount% %FrameRate_Num% %FrameRate_Den%')).toBe(
        `${clip.frames} ${clip.rate.split('/').join(' ')}`,
      );
      // Its own sample count is a product with a duration in whole milliseconds; bytes and depth tell it exactly.
      const [bytes, depth, channels] = asked('Audio;%StreamSize% %BitDepth% %Channels%')
        .split(' ')
        .map(Number) as [number, number, number];
      expect([(bytes * 8) / (depth * channels), channels]).toEqual([clip.samples, 2]);
    },
  );
});

test('the raw roll is delivered with the sound beside it, and the log roll through its input and CDL', () => {
  const recordOf = (roll: string) =>
    JSON.parse(readFileSync(join(folder, 'delivery', DAY, roll, 'roll.json'), 'utf8')) as {
      clips: { clip: { place: { sound?: unknown } } }[];
    };
  expect(recordOf('A003').clips[0]?.clip.place.sound).toEqual({
    file: 'A003C001/A003C001.wav',
    matchedBy: 'name',
  });
  const streams = (roll: string): string =>
    execFileSync(
      'ffprobe',
      [
        ...[
          '-v',
          'error',
          '-select_streams',
          'a',
          '-show_entries',
          'stream=codec_name,channels,duration_ts',
          '-of',
          'csv=p=0',
        ],
        join(folder, 'delivery', DAY, roll, 'foundry-proxy', `${roll}C001.mov`),
      ],
      { encoding: 'utf8' },
    ).trim();
  expect([streams('A003'), streams('B003')]).toEqual(['pcm_s24le,2,24024', 'pcm_s24le,2,24024']);
});

test('proxies of two clips carry the mix of the sound roll where it was recorded, and are named by it', () => {
  const proxy = (clip: string): string =>
    join(folder, 'delivery', DAY, clip.slice(0, 4), 'foundry-proxy', `${clip}.mov`);
  const titles = (clip: string): string =>
    execFileSync('mediainfo', ['--Inform=Audio;%Title%|', proxy(clip)], { encoding: 'utf8' }).trim();
  expect(['A001C001', 'A002C001', 'A001C002'].map(titles)).toEqual(['7A-2 Mix||', '9-1 Mix||', '|']);
  const pcm = (path: string, ...more: string[]): Buffer =>
    execFileSync('ffmpeg', ['-v', 'error', '-i', path, ...more, '-f', 's24le', '-'], { maxBuffer: 1 << 26 });
  for (const [clip, take] of [
    ['A001C001', '7A-T02.wav'],
    ['A002C001', '9-T01.wav'],
  ] as const) {
    const recorded = pcm(join(rollOn('drive-b', 'S001'), take));
    // The recorder was a second early: 48 000 samples of two channels of three bytes.
    expect(pcm(proxy(clip), '-map', '0:a:0')).toEqual(recorded.subarray(288_000, 288_000 + 72_072 * 6));
  }
  // As ffprobe reads the time of the recorder: 06:41:10:03 at 24000/1001, less a second.
  const since = execFileSync(
    'ffprobe',
    [
      '-v',
      'error',
      '-show_entries',
      'format_tags=time_reference',
      '-of',
      'csv=p=0',
      join(rollOn('drive-a', 'S001'), '7A-T02.wav'),
    ],
    { encoding: 'utf8' },
  );
  expect(Number(since)).toBe((((6 * 60 + 41) * 60 + 10) * 24 + 3) * 2002 - 48_000);
});

// What a second run makes and keeps: test/night/disturbed.test.ts; when it is not the script: verdict.test.ts.
const runAgain = async (): Promise<void> => {
  turnOver();
  try {
    const again = await runCli(['demo', '--folder', folder, '--json', '--quiet']);
    expect(again).toMatchObject({ code: 1, stderr: '' });
    const report = JSON.parse(again.stdout) as {
      kind: string;
      asScripted: boolean;
      unexpected: string[];
      night: { rolls: { roll: string; made: number; kept: number }[] };
    };
    expect(report).toMatchObject({ kind: 'demo', asScripted: false });
    expect(report.unexpected).toEqual(['B002: ready, expected held']);
    expect(report.night.rolls.map(({ roll, made, kept }) => [roll, made, kept])).toEqual([
      ['A001', 0, 4],
      ['A002', 0, 2],
      ['A003', 0, 2],
      ['B001', 0, 2],
      ['B002', 2, 0],
      ['B003', 0, 2],
      ['S001', 0, 0],
    ]);
  } finally {
    turnOver();
  }
};
if (everyRow)
  test(
    'run again with the damage undone it makes the held roll alone, nothing again, and says that this is not its script',
    runAgain,
  );

test('a folder that holds something else is refused and left as it is', async () => {
  const other = freshFolder('other');
  writeFileSync(join(other, 'letter.txt'), 'dear foundry');
  const refused = await runCli(['demo', '--folder', other]);
  expect(refused.code).toBe(2);
  expect(refused.stderr).toContain('[demo-folder-taken]');
  expect(readdirSync(other)).toEqual(['letter.txt']);
});

test('an ffmpeg that cannot draw is a clear refusal, and the next demo in that folder starts again', async () => {
  const place = freshFolder('half');
  const program = join(place, 'ffmpeg');
  writeFileSync(
    program,
    '#!/bin/sh\nif [ "$1" = -version ]; then echo "ffmpeg version 7.1 Copyright"; exit 0; fi\necho "No such filter: gradients" >&2\nexit 1\n',
    { mode: 0o755 },
  );
  const target = join(place, 'demo');
  const refused = await runCli(['demo', '--folder', target, '--ffmpeg', program]);
  expect(refused.code).toBe(3);
  expect(refused.stderr).toContain('No such filter: gradients');
  expect(JSON.parse(readFileSync(join(target, 'demo.json'), 'utf8'))).toMatchObject({
    kind: 'demo',
    whole: false,
  });
});
