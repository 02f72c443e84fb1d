/** Faults between the sketch of what an encoder is given and the encoder, in one frame and in all: each is done by a program in ffmpeg's place, and held. */
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable } from '../../check/index.ts';
import { layout } from '../../ledger/layout.ts';
import type { Job } from '../../ledger/job.ts';
import { readSketch, sketchFile } from '../../proof/sketch/file.ts';
import { makeClip } from '../campaign/material.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { moviesOf } from '../support/jobs.ts';
import { further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';
import { jobFor } from '../support/work.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { checkWith } from './check-with.ts';
import { claims, graded, type GradedName, gradedNames } from './graded.ts';

const profiles = {
  'small-vc3': 'test/fixtures/profiles/small-vc3.yaml',
  'small-h264': 'test/fixtures/profiles/small-h264.yaml',
  'small-rdd36': 'test/campaign/profiles/small-rdd36.yaml',
} as const;
type ProfileName = keyof typeof profiles;

let job: Job;
/** What an intact encoder makes. */
let intact: Awaited<ReturnType<typeof checkWith>>;
const intactFolder = join(sharedFolder, 'picture-error-intact');
beforeAll(async () => {
  const clip = await makeClip(join(sharedFolder, 'campaign'), { picture: 'zoom', form: 'film', take: 0 });
  job = await jobFor(clip, join(sharedFolder, 'picture-error-jobs'), Object.values(profiles));
  intact = await checkWith(job, { do: 'none' }, intactFolder);
});

const only = (name: ProfileName): Job => ({
  ...job,
  deliverables: job.deliverables.filter(({ profile }) => profile.name === name),
});

/** Codes of the check's own findings. */
async function found(profile: ProfileName, filters: string): Promise<string[]> {
  const { checked } = await checkWith(
    only(profile),
    { do: 'filter', stage: 'encoder', profile, filters, retag: true },
    join(freshFolder('picture-error'), 'case'),
  );
  const codes = checked[profile]?.findings.map(({ code }) => code) ?? [];
  return codes.filter((code) => code.startsWith('picture-error'));
}

test('an intact encoder: no alarm, and the report has worst frame, middle and curve of every plane', () => {
  const { checked, made } = intact;
  for (const name of Object.keys(profiles)) {
    const report = checked[name];
    expect(report?.findings).toEqual([]);
    expect(report?.passed).toBe(true);
    const planes = report?.results.find(({ check }) => check === 'picture-error')?.pictureError?.planes;
    expect(planes?.map(({ plane }) => plane)).toEqual(["Y'", 'Cb', 'Cr']);
    for (const { worst, median, curve, frame, timecode } of planes ?? []) {
      expect(worst).toBeLessThanOrEqual(median);
      expect(Math.min(...curve)).toBe(worst);
      expect(curve).toHaveLength(48);
      // 01:00:00:00 and 24 frames a second.
      expect(timecode).toBe(`01:00:0${Math.floor(frame / 24)}:${String(frame % 24).padStart(2, '0')}`);
    }
  }
  // x264 states what it lost of all frames; VC-3's encoder states nothing.
  expect(made.sketches.map((sketch) => sketch?.stated?.length ?? null)).toEqual([null, 3, null]);
});

type Scope = 'one' | 'all';
type Row = [name: GradedName, scope: Scope, profile: ProfileName];
const codings = { 'small-vc3': 'vc3', 'small-rdd36': 'rdd36', 'small-h264': 'h264' } as const;

/** The weakest that is promised; null: none is. */
const least = ([name, scope, profile]: Row): number | null =>
  claims[name][codings[profile]][scope === 'one' ? 0 : 1];
const every = gradedNames
  .flatMap((name) =>
    (['one', 'all'] as const).flatMap((scope) =>
      (Object.keys(profiles) as ProfileName[]).map((profile): Row => [name, scope, profile]),
    ),
  )
  .filter((row) => least(row) !== null);
const quick: Row[] = [
  ['chroma-exchanged', 'one', 'small-vc3'],
  ['mixed-with-the-frame-before', 'all', 'small-rdd36'],
  ['grey-block', 'all', 'small-h264'],
];
const isQuick = (row: Row): boolean => quick.some((one) => one.join() === row.join());

describe('held at the limit that is promised, in one frame and in all', () => {
  test.each<Row>([...quick, ...further<Row>(...every.filter((row) => !isQuick(row)))])(
    '%s, %s, %s',
    async (...row) => {
      const [name, scope, profile] = row;
      const { outcome } = moviesOf(only(profile))[0] as { outcome: Outcome };
      const { width, height } = outcome;
      const pixelFormat = profile === 'small-rdd36' ? 'yuv422p10le' : outcome.pixelFormat;
      const canvas = { width, height, pixelFormat };
      const spot = { across: 0.31, down: 0.42, frame: scope === 'one' ? 11 : null };
      expect(await found(profile, graded[name].filters(least(row) as number, canvas, spot))).not.toEqual([]);
    },
  );
});

test('a checker of single pixels is not said to be another picture than RDD 36 was given', async () => {
  const folder = freshFolder('checker');
  const clip = join(folder, 'checker.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'color=c=gray:s=320x180:r=24', '-frames:v', '12'],
    ...['-vf', "geq=lum='if(mod(X+Y,2),200,50)':cb=128:cr=128,format=yuv422p10le"],
    ...['-c:v', 'ffv1', '-timecode', '01:00:00:00', '-metadata:s:v:0', 'reel_name=A001', clip],
  );
  const work = await jobFor(clip, join(folder, 'jobs'), [profiles['small-rdd36']]);
  const { checked } = await checkWith(work, { do: 'none' }, join(folder, 'case'));
  expect(checked['small-rdd36']?.findings.map(({ code }) => code)).not.toContain('picture-error-stated');
  expect(checked['small-rdd36']?.results.some(({ check }) => check === 'picture-error')).toBe(true);
});

test('an audit needs the kept sketch alone: a file that was altered since is found by it', async () => {
  const profile = 'small-vc3';
  const [sketch] = intact.made.sketches;
  const [work] = moviesOf(only(profile));
  if (sketch === null || sketch === undefined || work === undefined) throw new Error('no sketch');
  const kept = await readSketch((await sketchFile(sketch)).bytes);
  expect(kept.fingerprints).toEqual(sketch);
  const path = layout.staging(join(intactFolder, 'delivery'), profile, 'test', 'mov');
  const altered = join(freshFolder('picture-error'), 'altered.mov');
  await ffmpeg(
    '-i',
    path,
    '-vf',
    `avgblur=1`,
    '-map',
    '0',
    '-c:v',
    'dnxhd',
    '-profile:v',
    'dnxhr_lb',
    '-c:a',
    'copy',
    altered,
  );
  const errors = async (file: string): Promise<string[]> => {
    const { findings } = await checkDeliverable({
      path: file,
      outcome: work.outcome,
      checks: work.profile.checks,
      sourceFacts: null,
      sourceFingerprints: null,
      encoded: null,
      sketch: kept.fingerprints,
      tools: await mediaTools(),
    });
    return findings.map(({ code }) => code).filter((code) => code.startsWith('picture-error'));
  };
  expect(await errors(path)).toEqual([]);
  expect(await errors(altered)).toContain('picture-error-stated');
});
