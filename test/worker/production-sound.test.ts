/** Production sound in a deliverable: every sample of the recording where it was laid, and what a maker that lays it otherwise is found by. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { ClipBeside } from '../../ledger/recording.ts';
import type { Job } from '../../ledger/job.ts';
import type { AudioFacts } from '../../media/facts.ts';
import { sharedFolder } from '../support/folder.ts';
import { moviesOf } from '../support/jobs.ts';
import { ffmpeg } from '../support/media.ts';
import {
  changed,
  checked,
  codeOf,
  codesOf,
  FRAMES,
  heardOf,
  heldAgainst,
  laid,
  madeBy,
  moved,
  PICTURE,
  recorded,
  slow,
  slowAndCrowd,
  type Take,
  withRecording,
  writeScratch,
  writeTake,
  yard,
} from '../support/production.ts';
import { jobFor } from '../support/work.ts';

const early: Take = { file: 'early.wav', start: -4321, samples: 90_000, value: yard };
const late: Take = { file: 'late.wav', start: 12_345, samples: 30_000, value: yard };
/** Another take under the same name, as long, with the same time: by its samples alone it is another one. */
const neighbour: Take = { ...early, value: (sample, channel) => yard(sample + 500_000, channel) };
const drifting: Take = { file: 'drifting.wav', start: -4800, samples: 90_000, value: slowAndCrowd };

const folder = mkdtempSync(join(sharedFolder, 'production-'));
const sounds = mkdtempSync(join(sharedFolder, 'production-S001-'));
const others = mkdtempSync(join(sharedFolder, 'production-S002-'));

const jobWith = async (beside: ClipBeside, take: Take, profile: 'tracks' | 'mix'): Promise<Job> =>
  await withRecording(await jobFor(join(folder, 'A001C001.mov'), join(folder, 'delivery'), ['review-h264']), {
    beside,
    take,
    profile,
    folder: sounds,
  });

beforeAll(async () => {
  for (const take of [early, late, drifting]) writeTake(sounds, take);
  writeTake(others, neighbour);
  writeScratch(join(folder, 'camera.wav'), drifting, 1000);
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24000/1001:d=2'],
    ...['-i', join(folder, 'camera.wav')],
    '-filter_complex',
    '[0:v]setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv[v]',
    ...['-map', '[v]', '-map', '1:a', '-c:v', 'prores_ks', '-profile:v', '1', '-pix_fmt', 'yuv422p10le'],
    ...['-c:a', 'pcm_s24le', '-timecode', '10:00:00:00', '-t', String((FRAMES * 1001) / 24_000)],
    join(folder, 'A001C001.mov'),
  );
}, 60_000);

describe('all tracks of a recording that began before the clip', () => {
  let job: Job;
  beforeAll(async () => {
    job = await jobWith(laid(early), early, 'tracks');
  });

  test('lie sample for sample where they were recorded, with their names, and the camera behind them', async () => {
    const made = await madeBy(job);
    const { results } = await checked(job, made);
    expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
    for (const channel of [0, 1, 2])
      expect(heardOf(made.staged, channel)).toEqual(
        Array.from({ length: PICTURE }, (_, at) => codeOf(early, at - early.start, channel)),
      );
    // As mediainfo reads the name of a track; ffprobe 5.1 does not.
    const titles = execFileSync('mediainfo', ['--Inform=Audio;%Title%\\n', made.staged], {
      encoding: 'utf8',
    });
    expect(titles.split('\n').slice(0, 3)).toEqual(['24A-3 Boom', '24A-3 Mix', '24A-3 Lav of the founder']);
    expect(moviesOf(job)[0]?.outcome.audio.map(({ sourceTrack }) => sourceTrack)).toEqual([2, 3, 4, 0]);
  }, 60_000);

  test.each<[string, (job: Job) => Job]>([
    [
      'one sample early',
      (job) => changed(job, (track) => recorded(track, { from: (track.recording?.from ?? 0) + 1 })),
    ],
    ["the neighbour take's file", (job) => moved(job, others)],
    [
      'two channels swapped',
      (job) =>
        changed(job, (track) =>
          recorded(track, {
            channels: track.recording?.channels.map((one) => [0, 2, 1, 3][one] as number) ?? [],
          }),
        ),
    ],
  ])(
    '%s in the file is found',
    async (_what, change) => {
      const codes = codesOf(await checked(job, await madeBy(change(job))));
      expect(codes).toEqual(expect.arrayContaining([expect.stringMatching(/^audio-/)]));
    },
    60_000,
  );

  test('a track of another name in the file is found', async () => {
    const made = await madeBy(renamed(job, 'Boom of another day'));
    expect(codesOf(await checked(job, made))).toEqual(['container-differs']);
  }, 60_000);
});

/** The maker goes by the outcome for names. */
const renamed = (job: Job, name: string): Job => ({
  ...job,
  deliverables: job.deliverables.map((work) =>
    work.kind !== 'movie'
      ? work
      : {
          ...work,
          outcome: {
            ...work.outcome,
            audio: work.outcome.audio.map((track, index) =>
              index === 0 && track.recording !== null
                ? { ...track, recording: { ...track.recording, name } }
                : track,
            ),
          },
        },
  ),
});

test('the mix of a recording that begins in the clip and ends in it: silence around it, and that is said', async () => {
  const job = await jobWith(laid(late), late, 'mix');
  const made = await madeBy(job);
  const { results } = await checked(job, made);
  expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
  // The second channel has the name.
  expect(heardOf(made.staged, 0)).toEqual(
    Array.from({ length: PICTURE }, (_, at) => codeOf(late, at - late.start, 1)),
  );
  expect(moviesOf(job)[0]?.outcome.audio).toMatchObject([
    { covered: { from: 12_345, to: 42_345 }, recording: { laidBy: 'timecode', form: 'mix', channels: [2] } },
  ]);
  const shifted = changed(job, (track) => ({ ...track, startOffset: track.startOffset + 1 }));
  expect(codesOf(await checked(job, await madeBy(shifted)))).toEqual(
    expect.arrayContaining([expect.stringMatching(/^audio-/)]),
  );
}, 60_000);

describe('a recorder whose clock is a thousandth faster', () => {
  let job: Job;
  beforeAll(async () => {
    const heard = { startSamples: drifting.start, driftMillionths: 1000, parts: 4 };
    job = await jobWith(laid(drifting, heard), drifting, 'mix');
  });

  test('its clock is taken out: at each sample of the clip is heard what was recorded then', async () => {
    const made = await madeBy(job);
    const { results } = await checked(job, made);
    expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
    const found = heardOf(made.staged, 0);
    expect(found).toHaveLength(PICTURE);
    // The recording is a sum of tones, so that its value between samples is known. From the edges on, where the filter has all that it looks at.
    const worst = Math.max(
      ...found
        .slice(64, -64)
        .map((value, at) => Math.abs(value / 2 ** 23 - slow(4800 + (at + 64) * 1.001, 1))),
    );
    // A sample beside its place would be 0.05 off.
    expect(worst).toBeLessThan(0.001);
  }, 60_000);

  test.each<[string, (job: Job) => Job]>([
    ['left in', (job) => changed(job, (track) => recorded(track, { driftMillionths: 0 }))],
    [
      'taken out by a tenth less',
      (job) => changed(job, (track) => recorded(track, { driftMillionths: 900 })),
    ],
    [
      'taken out, and all one sample late',
      (job) => changed(job, (track) => recorded(track, { from: (track.recording?.from ?? 0) - 1 })),
    ],
  ])(
    '%s in the file, it is found',
    async (_what, change) => {
      const codes = codesOf(await checked(job, await madeBy(change(job))));
      expect(codes).toEqual(expect.arrayContaining([expect.stringMatching(/^audio-/)]));
    },
    60_000,
  );
});

describe('what the survey laid is held against the file', () => {
  test.each<[string, (track: AudioFacts) => AudioFacts]>([
    [
      'a start by timecode that is one sample off',
      (track) => recorded(track, { startSamples: early.start + 1, from: -early.start - 1 }),
    ],
    ['a first sample that is not that of the start', (track) => recorded(track, { from: -early.start + 1 })],
    ['more samples than it has beside the picture', (track) => ({ ...track, samples: PICTURE + 10 })],
    ['other bits', (track) => ({ ...track, bitDepth: 16 })],
    [
      'a start by content of a sound that the clip did not hear',
      (track) => recorded(track, { laidBy: 'content' }),
    ],
    [
      'a start by content four seconds from its time',
      (track) =>
        recorded(track, {
          laidBy: 'content',
          startSamples: early.start - 192_000,
          from: 192_000 - early.start,
        }),
    ],
  ])('%s', async (_what, change) => {
    const job = await jobWith(laid(early), early, 'tracks');
    expect(await heldAgainst(changed(job, change))).toEqual([
      expect.stringMatching(/^sound-(read|place)-differs$/),
    ]);
  });

  const faster = { startSamples: drifting.start, driftMillionths: 1000, parts: 4 };
  test('by content the place is heard once more, and what lies two milliseconds or half a second beside it is not there', async () => {
    for (const [moved, codes] of [
      [0, null],
      [96, ['sound-place-differs']],
      [-96, ['sound-place-differs']],
      [24_000, ['sound-place-differs']],
    ] as const) {
      const start = drifting.start + moved;
      const job = await jobWith(
        laid({ ...drifting, start }, { ...faster, startSamples: start }),
        drifting,
        'mix',
      );
      const found = await heldAgainst(job);
      if (codes === null) expect(found).toHaveLength(job.facts.audio.length);
      else expect(found).toEqual(codes);
    }
    // A clock of a thousandth moves the end of these 1.5 s by 72 samples; left in, places lie apart.
    const job = await jobWith(laid(drifting, { ...faster, driftMillionths: -2000 }), drifting, 'mix');
    expect(await heldAgainst(job)).toEqual(['sound-place-differs']);
  }, 60_000);
});
