/**
 * A night whose camera heard what the recorder heard, and whose clocks were not set to each other: the take lies where both heard it, in a file a track; the record says so, the audit holds it,
 * and a scratch track that hears the take at two places differently leaves it to the timecode.
 */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { commandProcess } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { sharedFolder } from '../support/folder.ts';
import { resultOf, runWords } from '../support/night.ts';
import { heardOf, yard } from '../support/production.ts';
import { buildWave } from '../support/wave.ts';

const command = commandProcess();
const base = mkdtempSync(join(sharedFolder, 'production-heard-'));
const delivery = join(base, 'delivery');
const day = join(base, 'day-08');
const RATE = 48_000;
/** Frames of 24000/1001, of 2002 samples each: six seconds. */
const FRAMES = 144;
const PICTURE = FRAMES * 2002;
/** 10:00:00:00 by its label. */
const LABEL = 36_036 * RATE;
/** The recorder began this many samples before the first frame, and its clock says 9 frames less. */
const BEFORE = 51_234;
const WRONG = 9 * 2002;
const LENGTH = 8 * RATE;
const NAMES = ['Boom', 'Lav of the founder', 'Lav of the apprentice'] as const;

const words = (index: number): Buffer =>
  Buffer.from(
    `<BWFXML><SCENE>24A</SCENE><TAKE>3</TAKE><FILE_SET><TOTAL_FILES>3</TOTAL_FILES><FAMILY_UID>BELL0001</FAMILY_UID><FILE_SET_INDEX>${index + 1}</FILE_SET_INDEX></FILE_SET><TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>${NAMES[index]}</NAME></TRACK></TRACK_LIST></BWFXML>`,
  );
/** What the recorder's channel has at one of its samples. */
const recorded = (sample: number, channel: number): number => 0.8 * yard(sample, channel);

function film(clip: string, timecode: string, scratch: (sample: number) => number): void {
  const sound = join(base, `${clip}.wav`);
  writeFileSync(sound, buildWave({ samples: PICTURE, channels: 1, value: scratch }));
  execFileSync('ffmpeg', [
    ...['-v', 'error', '-y', '-f', 'lavfi', '-i', 'testsrc2=s=256x144:r=24000/1001', '-i', sound],
    '-filter_complex',
    `[0:v]trim=end_frame=${FRAMES},setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv[v]`,
    ...['-map', '[v]', '-map', '1:a', '-c:v', 'prores_ks', '-profile:v', '0', '-pix_fmt', 'yuv422p10le'],
    ...['-c:a', 'pcm_s24le', '-timecode', timecode, join(day, 'A001', `${clip}.mov`)],
  ]);
}

function record(take: string, since: number): void {
  for (const [index] of NAMES.entries())
    writeFileSync(
      join(day, 'S001', `${take}_${index + 1}.wav`),
      buildWave({
        ...{ samples: LENGTH, channels: 1, timeReference: since, before: [['iXML', words(index)]] },
        value: (sample) => recorded(sample, index),
      }),
    );
}

beforeAll(async () => {
  mkdirSync(join(day, 'A001'), { recursive: true });
  mkdirSync(join(day, 'S001'));
  // In a room: the boom, and it once more from a wall.
  const room = (at: number): number => 0.7 * recorded(at, 0) + 0.2 * recorded(at - 700, 0);
  film('A001C001', '10:00:00:00', (sample) => room(sample + BEFORE));
  // A loudspeaker plays the second half a fifth of a second late.
  film('A001C002', '10:10:00:00', (sample) => room(sample + BEFORE - (sample > PICTURE / 2 ? 9600 : 0)));
  record('24A-T03', LABEL - BEFORE - WRONG);
  record('24A-T04', LABEL + 600.6 * RATE - BEFORE);
  for (const roll of ['A001', 'S001']) writeMd5Manifest(join(day, roll));
  const night = await command(
    runWords(
      {
        ...{ day, delivery, work: join(base, 'work') },
        profiles: ['test/fixtures/profiles/small-sound-tracks.yaml'],
      },
      ...['--workers', '1', '--json', '--quiet'],
    ),
  );
  const rolls = resultOf(night.stdout).rolls.map(({ roll, verdict }) => [roll, verdict]);
  expect([night.code, rolls], night.stderr + night.stdout).toEqual([
    0,
    [
      ['A001', 'ready'],
      ['S001', 'ready'],
    ],
  ]);
}, 240_000);

interface Beside {
  readonly clip: string;
  readonly startSamples: number;
  readonly heard: {
    readonly startSamples: number;
    readonly driftMillionths: number;
    readonly parts: number;
  } | null;
  readonly apart?: readonly { readonly startSamples: number }[];
}

test('the record has both starts, and of what does not agree each', () => {
  const { recordings, findings } = JSON.parse(
    readFileSync(join(delivery, 'day-08', 'S001', 'roll.json'), 'utf8'),
  ) as {
    readonly recordings: readonly { readonly files: readonly string[]; readonly clips: readonly Beside[] }[];
    readonly findings: readonly { readonly code: string; readonly found: string }[];
  };
  expect(recordings.map(({ files }) => files.length)).toEqual([3, 3]);
  const [first, second] = recordings.map(({ clips }) => clips[0]);
  expect(first).toMatchObject({
    ...{ clip: 'A001C001', startSamples: -BEFORE - WRONG },
    heard: { startSamples: -BEFORE, driftMillionths: 0, parts: 3 },
  });
  expect(second).toMatchObject({ clip: 'A001C002', startSamples: -BEFORE, heard: null });
  const starts = new Set(second?.apart?.map(({ startSamples }) => startSamples));
  expect([...starts].toSorted((a, b) => a - b)).toEqual([-BEFORE, 9600 - BEFORE]);
  expect(findings.map(({ code }) => code)).toEqual(
    expect.arrayContaining(['sound-time-differs', 'sound-heard-apart']),
  );
});

test('each proxy has every track where it was recorded, sample by sample: where both heard it, and else by the times', () => {
  for (const clip of ['A001C001', 'A001C002'])
    for (const channel of [0, 1, 2]) {
      const heard = heardOf(join(delivery, 'day-08', 'A001', 'small-sound-tracks', `${clip}.mov`), channel);
      const wanted = Array.from(
        { length: PICTURE },
        (_, at) => Math.round(recorded(at + BEFORE, channel) * 2 ** 23) || 0,
      );
      expect(heard.length, clip).toBe(PICTURE);
      expect(
        heard.findIndex((value, at) => value !== wanted[at]),
        `${clip}, channel ${channel + 1}`,
      ).toBe(-1);
    }
});

test('an audit holds it, without the sources', async () => {
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
}, 60_000);
