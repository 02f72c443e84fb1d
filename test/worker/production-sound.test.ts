/** Production sound in a deliverable: every sample of the recording where it was laid, and what a maker that lays it otherwise is found by. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import { carriedOf } from '../../coordinator/survey/carried-sound.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import type { AudioFacts } from '../../media/facts.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { make } from '../../worker/make.ts';
import { hearSounds, withSounds } from '../../worker/sound.ts';
import { sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';
import { buildWave } from '../support/wave.ts';
import { jobFor } from '../support/work.ts';
import { moviesOf } from '../support/jobs.ts';

const FRAMES = 36;
/** At 24000/1001 a frame lasts 2002 samples of 48 kHz. */
const PICTURE = FRAMES * 2002;
/** Of clip and recording: 10:00:00:00 by its label is 36 036 s of the recorder's clock. */
const LABEL = 36_036 * 48_000;
const signal = new AbortController().signal;

/** Noise in bursts, by the number of the sample and the channel (mulberry32). */
function yard(sample: number, channel: number): number {
  let mixed = Math.imul(sample + 7919 * channel, 0x6d2b79f5);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 1 | mixed);
  mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
  return (((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 31 - 1) * 0.5 * Math.exp(-(sample % 9600) / 3000);
}
/** Of a few hundred hertz, so that a clock moves it between samples without loss: what lies there can be said. */
const slow = (sample: number, channel: number): number =>
  [211, 337, 523, 787, 1103].reduce(
    (sum, tone, index) =>
      sum +
      0.12 * Math.sin((2 * Math.PI * tone * (1 + channel / 7) * sample) / 48_000 + index * sample * 1e-5),
    0,
  );

/** What a take of 24 bits has at a sample; 0 where it has none. */
const codeOf = (take: Take, sample: number, channel: number): number =>
  sample < 0 || sample >= take.samples ? 0 : Math.round(take.value(sample, channel) * 2 ** 23) || 0;

interface Take {
  readonly file: string;
  /** Against the first frame. */
  readonly start: number;
  readonly samples: number;
  readonly value: (sample: number, channel: number) => number;
}

const early: Take = { file: 'early.wav', start: -4321, samples: 90_000, value: yard };
const late: Take = { file: 'late.wav', start: 12_345, samples: 30_000, value: yard };
/** Another take under the same name, as long, with the same time: by its samples alone it is another one. */
const neighbour: Take = { ...early, value: (sample, channel) => yard(sample + 500_000, channel) };
const drifting: Take = { file: 'drifting.wav', start: -4800, samples: 90_000, value: slow };

const folder = mkdtempSync(join(sharedFolder, 'production-'));
const sounds = mkdtempSync(join(sharedFolder, 'production-S001-'));
const others = mkdtempSync(join(sharedFolder, 'production-S002-'));

function write(into: string, { file, start, samples, value }: Take): void {
  writeFileSync(join(into, file), buildWave({ samples, channels: 3, timeReference: LABEL + start, value }));
}

const recordingOf = ({ file, start, samples }: Take): Recording => ({
  ...{ files: [file], sampleRate: 48_000, bits: 24, coding: 'integer', channels: 3, samples },
  ...{ since: String(LABEL + start), sinceRate: 48_000, scene: '24A', take: '3', tape: null, note: null },
  ...{ circled: false, wild: false, clips: [] },
  tracks: ['Boom', 'Mix', 'Lav of the founder'].map((name, index) => ({
    ...{ channel: index + 1, name, file, inFile: index + 1 },
  })),
});
const laid = (take: Take, heard: ClipBeside['heard'] = null): ClipBeside => ({
  ...{ roll: 'A001', clip: 'A001C001', startSamples: take.start, overlapSamples: PICTURE },
  ...{ heard, whyNotHeard: null },
});

/** A job of the clip with a recording beside it. */
async function jobWith(beside: ClipBeside, take: Take, profile: 'tracks' | 'mix'): Promise<Job> {
  const job = await jobFor(join(folder, 'A001C001.mov'), join(folder, 'delivery'), ['review-h264']);
  const { profiles } = await loadProfiles({ wanted: [`test/fixtures/profiles/small-sound-${profile}.yaml`] });
  const tracks = carriedOf({
    ...{ roll: 'S001', recording: recordingOf(take), beside, clip: job.facts },
    checksumOf: () => 'xxh3:0',
  });
  const facts = { ...job.facts, audio: [...job.facts.audio, ...tracks] };
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip: job.clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  const soundRoll = { roll: 'S001', folder: sounds, contentDigest: 'd', source: 's' };
  return {
    ...{ ...job, facts, deliverables },
    soundRolls: [{ ...soundRoll, files: [{ path: take.file, bytes: 1 }] }],
  };
}

/** A file made by this job; it may be another one than that which is checked. */
async function madeBy(job: Job) {
  const staged = join(mkdtempSync(join(sharedFolder, 'production-made-')), 'made.mov');
  const made = await make({
    ...{ job, framePool: null, tools: await mediaTools(), threads: 2, signal },
    outputs: moviesOf(job).map((deliverable) => ({ deliverable, staged })),
    stallMilliseconds: 60_000,
    onFrames: () => undefined,
  });
  expect(made.watched.errors).toEqual([]);
  return { ...made, staged };
}

async function checked(job: Job, made: Awaited<ReturnType<typeof madeBy>>): Promise<CheckReport> {
  const tools = await mediaTools();
  const [deliverable] = moviesOf(job);
  if (deliverable === undefined) throw new Error('no deliverable');
  const outcomes = moviesOf(job).map(({ outcome }) => outcome);
  return await checkDeliverable({
    path: made.staged,
    outcome: deliverable.outcome,
    checks: deliverable.profile.checks,
    sourceFacts: job.facts,
    sourceFingerprints: withSounds(made.fingerprints, await hearSounds(job, outcomes, { tools, signal })),
    encoded: made.bitstreams[0] ?? null,
    sketch: made.sketches[0] ?? null,
    tools,
  });
}

/** Of one track, 24 bits, as ffmpeg decodes it. */
function heardOf(path: string, track: number): number[] {
  const bytes = execFileSync(
    'ffmpeg',
    ['-v', 'error', '-i', path, '-map', `0:a:${track}`, '-f', 's24le', '-ac', '1', '-'],
    { maxBuffer: 1 << 26 },
  );
  return Array.from({ length: bytes.length / 3 }, (_, at) => bytes.readIntLE(3 * at, 3));
}
const codesOf = async (made: CheckReport): Promise<string[]> => made.findings.map(({ code }) => code);
const changed = (job: Job, change: (track: AudioFacts) => AudioFacts): Job => ({
  ...job,
  facts: {
    ...job.facts,
    audio: job.facts.audio.map((track) => (track.recording === undefined ? track : change(track))),
  },
});
const recorded = (track: AudioFacts, over: Partial<NonNullable<AudioFacts['recording']>>): AudioFacts => ({
  ...track,
  ...(track.recording === undefined ? {} : { recording: { ...track.recording, ...over } }),
});

beforeAll(async () => {
  for (const take of [early, late, drifting]) write(sounds, take);
  write(others, neighbour);
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24000/1001:d=2'],
    ...['-f', 'lavfi', '-i', 'anoisesrc=r=48000:a=0.3:seed=7:d=2'],
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
    ["the neighbour take's file", (job) => ({ ...job, soundRolls: moved(job, others) })],
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
      const codes = await codesOf(await checked(job, await madeBy(change(job))));
      expect(codes).toEqual(expect.arrayContaining([expect.stringMatching(/^audio-/)]));
    },
    60_000,
  );

  test('a track of another name in the file is found', async () => {
    const made = await madeBy(renamed(job, 'Boom of another day'));
    expect(await codesOf(await checked(job, made))).toEqual(['container-differs']);
  }, 60_000);
});

const moved = (job: Job, to: string): NonNullable<Job['soundRolls']> =>
  (job.soundRolls ?? []).map((one) => ({ ...one, folder: to }));

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
  expect(await codesOf(await checked(job, await madeBy(shifted)))).toEqual(
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
      const codes = await codesOf(await checked(job, await madeBy(change(job))));
      expect(codes).toEqual(expect.arrayContaining([expect.stringMatching(/^audio-/)]));
    },
    60_000,
  );
});

describe('what the survey laid is held against the file', () => {
  const heard = async (job: Job): Promise<unknown> =>
    await hearSounds(
      job,
      moviesOf(job).map(({ outcome }) => outcome),
      { tools: await mediaTools(), signal },
    ).catch((error: { findings?: { code: string }[] }) => error.findings?.map(({ code }) => code));

  test.each<[string, (track: AudioFacts) => AudioFacts]>([
    [
      'a start by timecode that is one sample off',
      (track) => recorded(track, { startSamples: early.start + 1, from: -early.start - 1 }),
    ],
    ['a first sample that is not that of the start', (track) => recorded(track, { from: -early.start + 1 })],
    ['more samples than it has beside the picture', (track) => ({ ...track, samples: PICTURE + 10 })],
    ['other bits', (track) => ({ ...track, bitDepth: 16 })],
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
    expect(await heard(changed(job, change))).toEqual(['sound-read-differs']);
  });
});
