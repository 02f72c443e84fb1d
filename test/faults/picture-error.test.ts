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
import { checkWith } from './check-with.ts';

const profiles = {
  'small-vc3': 'test/fixtures/profiles/small-vc3.yaml',
  'small-h264': 'test/fixtures/profiles/small-h264.yaml',
} as const;
type ProfileName = keyof typeof profiles;

let job: Job;
beforeAll(async () => {
  const clip = await makeClip(join(sharedFolder, 'campaign'), { picture: 'zoom', form: 'film', take: 0 });
  job = await jobFor(clip, join(sharedFolder, 'picture-error-jobs'), Object.values(profiles));
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

test('an intact encoder: no alarm, and the report has worst frame, middle and curve of every plane', async () => {
  const { checked, made } = await checkWith(job, { do: 'none' }, join(freshFolder('picture-error'), 'case'));
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
  expect(made.sketches.map((sketch) => sketch?.stated?.length ?? null)).toEqual([null, 3]);
});

const at = (frame: number | null): string => (frame === null ? '' : `:enable='eq(n,${frame})'`);
const eight = "'(val-128)*0.9+128'";
const pairs = (plane: string): string => `'${plane}(X,Y+1-2*mod(Y,2))'`;
/** By name, filters on 8 bits; `frame` null: in all. */
const faults = {
  'a quarter of the frame before': (frame) => `tmix=frames=2:weights='1 3'${at(frame)}`,
  'U and V exchanged': (frame) => `swapuv${frame === null ? '' : `=enable='eq(n,${frame})'`}`,
  'chroma moved by a sample': (frame) => `chromashift=cbh=1:crh=1${at(frame)}`,
  'nine tenths of the saturation': (frame) => `lutyuv=u=${eight}:v=${eight}${at(frame)}`,
  'sixteen steps of luma': (frame) => `lutyuv=y='floor(val/16)*16+8'${at(frame)}`,
  'a blur of 3 x 3': (frame) => `avgblur=1${at(frame)}`,
  'lines exchanged in pairs': (frame) =>
    `geq=lum=${pairs('lum')}:cb=${pairs('cb')}:cr=${pairs('cr')}${at(frame)}`,
  'a dead column': (frame) => `drawbox=x=101:y=0:w=1:h=ih:color=black:t=fill${at(frame)}`,
  'a block of 16 x 16': (frame) => `drawbox=x=104:y=72:w=16:h=16:color=gray:t=fill${at(frame)}`,
  'a mosaic of 12 x 12': (frame) => `pixelize=w=12:h=12${at(frame)}`,
  'a black edge of two lines': (frame) => `drawbox=x=0:y=ih-2:w=iw:h=2:color=black:t=fill${at(frame)}`,
} as const satisfies Record<string, (frame: number | null) => string>;
type FaultName = keyof typeof faults;

describe('held, in one frame and in all', () => {
  const row = (
    name: FaultName,
    frames: 'one' | 'all',
    profile: ProfileName,
  ): [FaultName, 'one' | 'all', ProfileName] => [name, frames, profile];
  test.each<[FaultName, 'one' | 'all', ProfileName]>([
    row('U and V exchanged', 'one', 'small-vc3'),
    row('lines exchanged in pairs', 'all', 'small-vc3'),
    row('a mosaic of 12 x 12', 'all', 'small-h264'),
    row('chroma moved by a sample', 'one', 'small-h264'),
    row('nine tenths of the saturation', 'all', 'small-vc3'),
    row('sixteen steps of luma', 'all', 'small-h264'),
    ...further<[FaultName, 'one' | 'all', ProfileName]>(
      row('U and V exchanged', 'all', 'small-vc3'),
      row('U and V exchanged', 'all', 'small-h264'),
      row('U and V exchanged', 'one', 'small-h264'),
      row('a quarter of the frame before', 'all', 'small-vc3'),
      row('a quarter of the frame before', 'all', 'small-h264'),
      row('chroma moved by a sample', 'one', 'small-vc3'),
      row('chroma moved by a sample', 'all', 'small-vc3'),
      row('chroma moved by a sample', 'all', 'small-h264'),
      row('nine tenths of the saturation', 'all', 'small-h264'),
      row('a blur of 3 x 3', 'one', 'small-vc3'),
      row('a blur of 3 x 3', 'one', 'small-h264'),
      row('a blur of 3 x 3', 'all', 'small-vc3'),
      row('a blur of 3 x 3', 'all', 'small-h264'),
      row('lines exchanged in pairs', 'one', 'small-vc3'),
      row('lines exchanged in pairs', 'one', 'small-h264'),
      row('lines exchanged in pairs', 'all', 'small-h264'),
      row('a dead column', 'one', 'small-vc3'),
      row('a dead column', 'one', 'small-h264'),
      row('a dead column', 'all', 'small-h264'),
      row('a mosaic of 12 x 12', 'one', 'small-vc3'),
      row('a mosaic of 12 x 12', 'one', 'small-h264'),
      row('a mosaic of 12 x 12', 'all', 'small-vc3'),
      row('a black edge of two lines', 'all', 'small-vc3'),
      row('a black edge of two lines', 'all', 'small-h264'),
    ),
  ])('%s, %s, %s', async (name, frames, profile) => {
    expect(await found(profile, faults[name](frames === 'one' ? 11 : null))).not.toEqual([]);
  });
});

test('an audit needs the kept sketch alone: a file that was altered since is found by it', async () => {
  const profile = 'small-vc3';
  const folder = join(freshFolder('picture-error'), 'case');
  const { made } = await checkWith(only(profile), { do: 'none' }, folder);
  const [sketch] = made.sketches;
  const [work] = moviesOf(only(profile));
  if (sketch === null || sketch === undefined || work === undefined) throw new Error('no sketch');
  const kept = await readSketch((await sketchFile(sketch)).bytes);
  expect(kept.fingerprints).toEqual(sketch);
  const path = layout.staging(join(folder, 'delivery'), profile, 'test', 'mov');
  const altered = join(folder, 'altered.mov');
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
