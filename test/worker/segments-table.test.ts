/** Cuts of a clip with jumps in complexity, for every codec that is cut: packets, pixels, sound, timestamps and file are those of the clip that is made whole. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { segmentsOf } from '../../profiles/segments.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { makeMovie, type MovieOptions } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

/** Eight of every 24 frames are noise: rate control that remembers the frames before would give others behind each jump. */
const JUMPS =
  "noise=alls=20:allf=t:enable='between(mod(n,24),12,20)',setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv";
/** Groups are open: pictures that are shown before a key frame lean on the group before it (ITU-T H.264, 3: "non-IDR I picture"; x264's own option). */
const OPEN_GROUPS: MovieOptions = {
  codec: 'h264',
  extra: ['-x264-params', 'open-gop=1:keyint=12:min-keyint=12:bframes=3:b-adapt=0:scenecut=0'],
};
const PROFILES = [
  'test/fixtures/profiles/small-vc3.yaml',
  'test/fixtures/profiles/native-rdd36.yaml',
  'archive-ffv1',
] as const;

const TEXTED = [
  'test/fixtures/profiles/texted-vc3.yaml',
  'test/fixtures/profiles/texted-rdd36.yaml',
] as const;

/** ffmpeg's own hashes of every packet with its times, and of every decoded picture and sample. */
function seenOf(path: string): string[] {
  const hashed = (...options: string[]): string =>
    execFileSync('ffmpeg', [
      ...['-v', 'error', '-i', path, '-map', '0', ...options, '-f', 'framehash', '-hash', 'md5', '-'],
    ]).toString('utf8');
  return [hashed('-c', 'copy'), hashed('-map', '-0:d')];
}

async function fileOf(job: Job, profile: string): Promise<string> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, profile),
    deliverableReportSchema,
  );
  if (read.state !== 'read' || read.value.state !== 'published' || read.value.file === null)
    throw new Error(`${profile}: ${JSON.stringify(read)}`);
  return join(job.deliveryFolder, read.value.file.path);
}

async function cutAndJoined(job: Job, of: number): Promise<void> {
  for (const [segment, { start, frames }] of segmentsOf(job.facts.video.frames, of).entries())
    await runJob({ ...job, segments: of, segment, span: { start, count: frames } }, await workContext());
  await runJob({ ...job, segments: of }, await workContext());
}

type Row = readonly [string, number, readonly number[], MovieOptions, readonly string[]];

describe.each<Row>([
  // A clip that is entered in its middle: three groups.
  ['open groups', 40, [3], OPEN_GROUPS, PROFILES],
  // Words that count on with the frames of the clip: a segment begins with its own.
  ['burnt-in label and number of each frame', 40, [3], OPEN_GROUPS, TEXTED],
  ...further<Row>(
    ['burnt-in text, cut at every frame', 30, [30], OPEN_GROUPS, TEXTED],
    ['open groups, cut at every frame', 97, [97, 2, 5], OPEN_GROUPS, PROFILES],
    ['every picture a key frame, cut at every frame', 97, [97, 2, 5], { codec: 'prores' }, PROFILES],
    ['25 frames a second', 97, [7], { ...OPEN_GROUPS, rate: '25' }, PROFILES],
    [
      '59.94 frames a second, audio that begins with the picture and ends before it',
      97,
      [7],
      {
        ...OPEN_GROUPS,
        rate: '60000/1001',
        audioSeconds: 1.61,
      },
      PROFILES,
    ],
    // Matroska says in whole nanoseconds how long a frame is, and ffmpeg does not read every rate back out of them.
    ...['24', '24000/1001', '30', '30000/1001', '48', '48000/1001', '50', '60', '100', '120000/1001'].map(
      (rate): Row => [
        `FFV1 at ${rate} frames a second`,
        10,
        [3],
        { codec: 'prores', rate },
        ['archive-ffv1'],
      ],
    ),
  ),
])('%s', (_, frames, cuts, options, profiles) => {
  test('is the file that is made whole', { timeout: 3_600_000 }, async () => {
    const folder = freshFolder('cuts');
    const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), {
      frames,
      size: '256x144',
      ...options,
      extra: [...(options.extra ?? []), '-vf', `trim=end_frame=${frames},${JUMPS}`],
    });
    const whole = await jobFor(source, join(folder, 'whole'), profiles);
    await runJob(whole, await workContext());
    for (const of of cuts) {
      const job = await jobFor(source, join(folder, `cut-${of}`), profiles);
      await cutAndJoined(job, of);
      for (const { profile } of job.deliverables) {
        const [one, other] = [await fileOf(whole, profile.name), await fileOf(job, profile.name)];
        expect(readFileSync(other).equals(readFileSync(one)), `${profile.name}, ${of} segments`).toBe(true);
        // Of equal files all of it is equal; that it is something is asked of one of them.
        if (of === cuts[0]) expect(seenOf(other)).toEqual(seenOf(one));
      }
    }
  });
});
