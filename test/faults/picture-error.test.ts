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
import type { Operation } from './operation.ts';

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

/** Codes of the check's own findings, of a fault in each output of one encode. */
async function found(faulty: Readonly<Record<ProfileName, string>>): Promise<Record<ProfileName, string[]>> {
  const operations = Object.entries(faulty).map(
    ([profile, filters]): Operation => ({ do: 'filter', stage: 'encoder', profile, filters, retag: true }),
  );
  const { checked } = await checkWith(
    job,
    { do: 'several', operations },
    join(freshFolder('picture-error'), 'case'),
  );
  const codes = (profile: ProfileName): string[] =>
    (checked[profile]?.findings ?? [])
      .map(({ code }) => code)
      .filter((code) => code.startsWith('picture-error'));
  return { 'small-vc3': codes('small-vc3'), 'small-h264': codes('small-h264') };
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

type Spoiled = readonly [name: FaultName, frames: 'one' | 'all'];

describe('held, in one frame and in all', () => {
  // In each row one fault in VC-3, another in H.264.
  test.each<readonly [vc3: Spoiled, h264: Spoiled]>([
    [
      ['U and V exchanged', 'one'],
      ['a mosaic of 12 x 12', 'all'],
    ],
    [
      ['lines exchanged in pairs', 'all'],
      ['chroma moved by a sample', 'one'],
    ],
    [
      ['nine tenths of the saturation', 'all'],
      ['sixteen steps of luma', 'all'],
    ],
    ...further<readonly [vc3: Spoiled, h264: Spoiled]>(
      [
        ['U and V exchanged', 'all'],
        ['U and V exchanged', 'all'],
      ],
      [
        ['a quarter of the frame before', 'all'],
        ['a quarter of the frame before', 'all'],
      ],
      [
        ['chroma moved by a sample', 'one'],
        ['chroma moved by a sample', 'all'],
      ],
      [
        ['chroma moved by a sample', 'all'],
        ['U and V exchanged', 'one'],
      ],
      [
        ['a blur of 3 x 3', 'one'],
        ['nine tenths of the saturation', 'all'],
      ],
      [
        ['a blur of 3 x 3', 'all'],
        ['a blur of 3 x 3', 'one'],
      ],
      [
        ['lines exchanged in pairs', 'one'],
        ['a blur of 3 x 3', 'all'],
      ],
      [
        ['a dead column', 'one'],
        ['lines exchanged in pairs', 'one'],
      ],
      [
        ['a mosaic of 12 x 12', 'one'],
        ['lines exchanged in pairs', 'all'],
      ],
      [
        ['a mosaic of 12 x 12', 'all'],
        ['a dead column', 'one'],
      ],
      [
        ['a black edge of two lines', 'all'],
        ['a dead column', 'all'],
      ],
      [
        ['a block of 16 x 16', 'all'],
        ['a mosaic of 12 x 12', 'one'],
      ],
      [
        ['a mosaic of 12 x 12', 'all'],
        ['a black edge of two lines', 'all'],
      ],
    ),
  ])('%j in small-vc3, %j in small-h264', async (vc3, h264) => {
    const filters = ([name, frames]: Spoiled): string => faults[name](frames === 'one' ? 11 : null);
    const codes = await found({ 'small-vc3': filters(vc3), 'small-h264': filters(h264) });
    expect(codes['small-vc3']).not.toEqual([]);
    expect(codes['small-h264']).not.toEqual([]);
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
