/**
 * Production sound in the forms of deliverables, recordings and clips that `production-sound.test.ts` does not make: coded audio in MP4, a file a track, a clip that is played slower than it was
 * recorded, a recording in several files. What is heard is held against the take's own samples; and every way of laying it wrongly is found in each form.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { surveyClip } from '../../coordinator/survey/index.ts';
import type { Job } from '../../ledger/job.ts';
import { sharedFolder } from '../support/folder.ts';
import { moviesOf } from '../support/jobs.ts';
import { further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';
import {
  changed,
  checked,
  codeOf,
  codesOf,
  FRAMES,
  heardOf,
  laid,
  madeBy,
  moved,
  PICTURE,
  recorded,
  slowAndCrowd,
  type Take,
  TRACKS,
  withRecording,
  writeSet,
  writeScratch,
  writeTake,
  yard,
} from '../support/production.ts';
import { jobFor } from '../support/work.ts';

const take: Take = { file: 'take.wav', start: -4321, samples: 90_000, value: yard };
/** Another one under the same names, as long, with the same time. */
const neighbour: Take = { ...take, value: (sample, channel) => yard(sample + 500_000, channel) };
const drifting: Take = { file: 'drifting.wav', start: -4800, samples: 90_000, value: slowAndCrowd };
const faster = { startSamples: drifting.start, driftMillionths: 1000, parts: 4 };

const base = mkdtempSync(join(sharedFolder, 'production-forms-'));
const sounds = mkdtempSync(join(base, 'S001-'));
const others = mkdtempSync(join(base, 'S002-'));
const twisted = mkdtempSync(join(base, 'S003-'));

/** Frames of the parts of a spanned clip. */
const PARTS = [14, 12, 10] as const;

async function filmed(): Promise<void> {
  writeScratch(join(base, 'camera.wav'), drifting, 1000);
  const tags = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';
  const prores = ['-c:v', 'prores_ks', '-profile:v', '1', '-pix_fmt', 'yuv422p10le', '-c:a', 'pcm_s24le'];
  let first = 0;
  const parts = PARTS.map((frames, index) => {
    const from = first;
    first += frames;
    return { from, to: first, file: index === 0 ? 'A002C001.mov' : `A002C001_${index}.mov` };
  });
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24000/1001:d=2'],
    ...['-i', join(base, 'camera.wav')],
    '-filter_complex',
    [
      `[0:v]${tags},split=5[w][f][v0][v1][v2]`,
      `[w]trim=end_frame=${FRAMES}[v]`,
      '[1:a]asplit=5[wa][wb][a0][a1][a2]',
      `[wa]atrim=end_sample=${PICTURE}[a]`,
      `[wb]atrim=end_sample=${PICTURE / 2}[b]`,
      `[f]setpts=N/(48000/1001*TB),fps=48000/1001,trim=end_frame=${FRAMES}[fast]`,
      ...parts.flatMap(({ from, to }, index) => [
        `[v${index}]trim=start_frame=${from}:end_frame=${to},setpts=PTS-STARTPTS[pv${index}]`,
        `[a${index}]atrim=start_sample=${2002 * from}:end_sample=${2002 * to},asetpts=N/SR/TB[pa${index}]`,
      ]),
    ].join(';'),
    ...['-map', '[v]', '-map', '[a]', ...prores, '-timecode', '10:00:00:00'],
    join(base, 'A001C001.mov'),
    ...['-map', '[fast]', '-map', '[b]', ...prores, '-timecode', '10:00:00:00'],
    join(base, 'A003C001.mov'),
    ...parts.flatMap(({ from, file }, index) => [
      ...['-map', `[pv${index}]`, '-map', `[pa${index}]`, ...prores],
      ...[
        '-timecode',
        `10:00:0${Math.floor(from / 24)}:${String(from % 24).padStart(2, '0')}`,
        join(base, file),
      ],
    ]),
  );
}

const jobOf = async (clip: string): Promise<Job> =>
  await jobFor(join(base, `${clip}.mov`), join(base, 'delivery'), ['review-h264']);

async function spanned(): Promise<Job> {
  const job = await jobOf('A002C001');
  const parts = PARTS.map((_, index) => ({
    ...{ file: index === 0 ? 'A002C001.mov' : `A002C001_${index}.mov`, bytes: 1, checksum: 'md5:0' },
  }));
  const clip: Job['clip'] = {
    ...job.clip,
    place: { kind: 'spanned', parts, namedBy: 'suffix', continuesBy: 'timecode' },
  };
  const { facts, findings } = await surveyClip(clip, base, await mediaTools());
  if (facts === null) throw new Error(JSON.stringify(findings));
  return { ...job, clip, facts, span: { start: 0, count: facts.video.frames } };
}

async function slowed(): Promise<Job> {
  const job = await jobOf('A003C001');
  const timing = {
    projectRate: { num: 24_000, den: 1001 },
    offSpeed: 'project-rate',
    offSpeedAudio: 'real-time',
  } as const;
  return { ...job, facts: { ...job.facts, timing } };
}

interface Form {
  readonly name: string;
  readonly clip: () => Promise<Job>;
  readonly profile: 'aac' | 'tracks';
  readonly recording: 'one file' | 'a file a track';
  /** Samples that the picture took to be recorded. */
  readonly picture: number;
}
const plain = (): Promise<Job> => jobOf('A001C001');
const forms: readonly Form[] = [
  { name: 'AAC in MP4', clip: plain, profile: 'aac', recording: 'one file', picture: PICTURE },
  { name: 'a file a track', clip: plain, profile: 'tracks', recording: 'a file a track', picture: PICTURE },
  {
    ...{ name: 'a clip of twice the rate, with its audio as it was heard', clip: slowed, profile: 'tracks' },
    ...{ recording: 'one file', picture: PICTURE / 2 },
  },
  {
    ...{ name: 'a recording of the camera in three files', clip: spanned, profile: 'tracks' },
    ...{ recording: 'one file', picture: PICTURE },
  },
  ...further<Form>({
    ...{ name: 'AAC of a file a track, spanned', clip: spanned, profile: 'aac' },
    ...{ recording: 'a file a track', picture: PICTURE },
  }),
];

beforeAll(async () => {
  writeTake(sounds, take);
  writeSet(sounds, take);
  writeTake(sounds, drifting);
  writeSet(sounds, drifting);
  writeTake(others, neighbour);
  writeSet(others, neighbour);
  // The same sounds in each other's channels.
  const swapped: Take = { ...take, value: (sample, channel) => yard(sample, [0, 2, 1][channel] as number) };
  writeTake(twisted, swapped);
  writeSet(twisted, swapped);
  await filmed();
}, 120_000);

describe.each(forms)('$name', ({ clip, profile, recording, picture }) => {
  const job = async (of: Take = take, heard: typeof faster | null = null): Promise<Job> =>
    await withRecording(await clip(), {
      ...{ beside: laid(of, heard), take: of, profile, folder: sounds, form: recording },
    });

  test('every track lies where it was recorded, with its name, and every check passes', async () => {
    const one = await job();
    const made = await madeBy(one);
    const { results, findings } = await checked(one, made);
    expect(findings).toEqual([]);
    expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
    const titles = execFileSync('mediainfo', ['--Inform=Audio;%Title%\\n', made.staged], {
      encoding: 'utf8',
    });
    expect(titles.split('\n').slice(0, 3)).toEqual(TRACKS.map((name) => `24A-3 ${name}`));
    for (const channel of [0, 1, 2]) {
      const heard = heardOf(made.staged, channel);
      const wanted = Array.from({ length: picture }, (_, at) => codeOf(take, at - take.start, channel));
      if (profile === 'tracks') expect(heard).toEqual(wanted);
      else {
        // Coded: the place at which the two are most alike is 0, and they are alike.
        const alike = [-2, -1, 0, 1, 2].map((lag) => correlation(heard, wanted, lag));
        expect(alike.indexOf(Math.max(...alike))).toBe(2);
        expect(alike[2]).toBeGreaterThan(0.9);
      }
    }
  }, 60_000);

  test.each<[string, (one: Job) => Job]>([
    [
      'one sample early',
      (one) => changed(one, (track) => recorded(track, { from: (track.recording?.from ?? 0) + 1 })),
    ],
    ["the neighbour take's files", (one) => moved(one, others)],
    ...further<[string, (one: Job) => Job]>(
      [
        'one sample late',
        (one) => changed(one, (track) => recorded(track, { from: (track.recording?.from ?? 0) - 1 })),
      ],
      ['two channels swapped', (one) => moved(one, twisted)],
    ),
  ])(
    '%s, it is found',
    async (_what, change) => {
      const one = await job();
      expect(codesOf(await checked(one, await madeBy(change(one))))).toEqual(
        expect.arrayContaining([expect.stringMatching(/^audio-/)]),
      );
    },
    60_000,
  );

  test.each<[string, number]>(further<[string, number]>(['left in', 0], ['taken out by a tenth less', 900]))(
    'a clock %s, it is found',
    async (_what, driftMillionths) => {
      const one = await job(drifting, faster);
      expect(codesOf(await checked(one, await madeBy(one)))).toEqual([]);
      const wrong = changed(one, (track) => recorded(track, { driftMillionths }));
      expect(codesOf(await checked(one, await madeBy(wrong)))).toEqual(
        expect.arrayContaining([expect.stringMatching(/^audio-/)]),
      );
    },
    60_000,
  );
});

test('a clip that is played slower carries no sound where its policy leaves it out, and that is said', async () => {
  const clip = await slowed();
  const silent: Job = {
    ...clip,
    facts: { ...clip.facts, timing: { ...clip.facts.timing, offSpeedAudio: 'leave-out' } },
  };
  const one = await withRecording(silent, {
    ...{ beside: laid(take), take, profile: 'tracks', folder: sounds },
  });
  expect(moviesOf(one)[0]?.outcome.audio).toEqual([]);
  const made = await madeBy(one);
  expect(codesOf(await checked(one, made))).toEqual([]);
  expect(
    execFileSync(
      'ffprobe',
      ['-v', 'error', '-select_streams', 'a', '-show_entries', 'stream=index', made.staged],
      {
        encoding: 'utf8',
      },
    ),
  ).not.toContain('index');
}, 60_000);

/** Of two sounds, the second one moved by so many samples, from 1 to -1. */
function correlation(heard: readonly number[], wanted: readonly number[], lag: number): number {
  let [both, one, other] = [0, 0, 0];
  for (let at = 2; at < Math.min(heard.length, wanted.length) - 2; at += 1) {
    const [a, b] = [heard[at] as number, wanted[at + lag] as number];
    both += a * b;
    one += a * a;
    other += b * b;
  }
  return both / Math.sqrt(one * other);
}
