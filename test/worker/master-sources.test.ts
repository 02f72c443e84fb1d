/** Every kind of movie and of numbered frames becomes a master whose values are those of the source. */
import { createHash } from 'node:crypto';
import { mkdirSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { codesBesideLimits, interpretation, reportOf } from '../support/master.ts';
import { type ClipOnDisk, masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const FRAMES = 4;
const picture = ['-f', 'lavfi', '-i', 'testsrc2=s=96x54:r=24:d=2,noise=alls=8:allf=t'];
async function movieOnDisk(path: string): Promise<ClipOnDisk> {
  const place = { kind: 'movie', file: basename(path) } as const;
  return { rollFolder: dirname(path), place, facts: await factsOf(path) };
}
const bt709 = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';

const forms = ['grading-master-exr', 'dpx-10'];
let rows = 0;
/** `npm test` makes one form of each row, by turns; the long lane both. */
async function mastered(clip: ClipOnDisk, said = interpretation): Promise<void> {
  rows += 1;
  const wanted = everyRow ? forms : [forms[rows % forms.length] as string];
  const job = await masterJob(clip, freshFolder('delivery'), wanted, said);
  await runJob(job, await workContext());
  for (const profile of wanted) {
    const report = await reportOf(job, profile);
    expect([report.state, codesBesideLimits(report)]).toEqual(['published', []]);
    // Of predicted codecs not every frame can be entered by itself; the first one can.
    expect(report.checks.find(({ check }) => check === 'spot-check')?.measured).toMatch(/pixels of frames 0/);
  }
}

describe('movies', () => {
  test.each<[string, string, string[]]>([
    [
      'RDD 36 4:2:2 10 bits',
      'mov',
      ['-vf', bt709, '-c:v', 'prores_ks', '-profile:v', '3', '-pix_fmt', 'yuv422p10le'],
    ],
    [
      'VC-3 in MXF',
      'mxf',
      [
        ...['-vf', `scale=256:144,${bt709}`, '-c:v', 'dnxhd', '-profile:v', 'dnxhr_lb'],
        ...['-pix_fmt', 'yuv422p', '-r', '24'],
      ],
    ],
    [
      'H.264 4:2:0 with B-frames',
      'mov',
      ['-vf', bt709, '-c:v', 'libx264', '-preset', 'ultrafast', '-bf', '2', '-pix_fmt', 'yuv420p'],
    ],
    ['RGB, 16 bits', 'mov', ['-c:v', 'png', '-pix_fmt', 'rgb48be']],
    ...further<[string, string, string[]]>(
      ['MPEG-2 4:2:0', 'mov', ['-vf', bt709, '-c:v', 'mpeg2video', '-b:v', '8M', '-pix_fmt', 'yuv420p']],
      [
        'HEVC 4:2:0 10 bits',
        'mp4',
        [
          '-vf',
          bt709,
          '-c:v',
          'libx265',
          '-preset',
          'ultrafast',
          '-x265-params',
          'log-level=error',
          '-pix_fmt',
          'yuv420p10le',
        ],
      ],
      [
        'RDD 36 4:4:4',
        'mov',
        ['-vf', bt709, '-c:v', 'prores_ks', '-profile:v', '4', '-pix_fmt', 'yuv444p10le'],
      ],
      [
        'VC-3 of a fixed raster in MXF',
        'mxf',
        [
          ...['-vf', `scale=1920:1080,${bt709}`, '-c:v', 'dnxhd', '-b:v', '36M'],
          ...['-pix_fmt', 'yuv422p', '-r', '24'],
        ],
      ],
    ),
  ])('%s', async (_, extension, options) => {
    const folder = freshFolder('movie');
    const path = join(folder, `A001C001.${extension}`);
    await ffmpeg(...picture, '-frames:v', String(FRAMES), ...options, path);
    await mastered(await movieOnDisk(path));
  });
});

describe('numbered frames', () => {
  test.each<[string, string, string[], typeof interpretation]>([
    ['DPX, 10 bits', '.dpx', ['-pix_fmt', 'gbrp10be'], interpretation],
    [
      'OpenEXR, float, beyond 0 and 1',
      '.exr',
      [
        '-vf',
        'zscale=rangein=full:range=full,format=gbrpf32le,geq=r=r(X\\,Y)*4-0.5:g=g(X\\,Y)*4-0.5:b=b(X\\,Y)*4-0.5',
        '-compression',
        'zip16',
      ],
      { ...interpretation, input: { name: 'acescg' } },
    ],
    // Half in npm test: source-not-finite.test.ts.
    ...further<[string, string, string[], typeof interpretation]>(
      ['TIFF, 16 bits', '.tif', ['-pix_fmt', 'rgb48le'], interpretation],
      [
        'OpenEXR, half',
        '.exr',
        ['-vf', 'zscale=rangein=full:range=full,format=gbrpf32le', '-format', 'half'],
        { ...interpretation, input: { name: 'aces2065-1' } },
      ],
    ),
  ])('%s', async (_, suffix, options, said) => {
    const folder = freshFolder('frames');
    mkdirSync(join(folder, 'A001C001'));
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=96x54:r=24:d=2,format=gbrp',
      '-frames:v',
      String(FRAMES),
      '-start_number',
      '1001',
      ...options,
      join(folder, 'A001C001', `A001C001.%05d${suffix}`),
    );
    const place = numberedFrames(suffix, { padding: 5, count: FRAMES });
    await mastered(await sequenceClip(folder, place), said);
  });
});

describe('a transform in a file', () => {
  /** The identity; the form of .cube, version 1.0. */
  const cube = 'LUT_1D_SIZE 2\n0 0 0\n1 1 1\n';
  const sha256 = createHash('sha256').update(cube).digest('hex');

  async function jobWith(text: string | null): Promise<Job> {
    const folder = freshFolder('movie');
    const path = join(folder, 'A001C001.mov');
    await ffmpeg(
      ...picture,
      '-frames:v',
      String(FRAMES),
      '-vf',
      bt709,
      '-c:v',
      'prores_ks',
      '-pix_fmt',
      'yuv422p10le',
      path,
    );
    const job = await masterJob(await movieOnDisk(path), freshFolder('delivery'), ['dpx-10'], {
      ...interpretation,
      input: { file: 'look.cube', sha256, gives: 'acescct' },
    });
    const place = join(job.deliveryFolder, layout.transform(sha256, '.cube'));
    mkdirSync(dirname(place), { recursive: true });
    if (text !== null) writeFileSync(place, text);
    return job;
  }

  // In npm test: the table of roll B007 in test/e2e/masters.test.ts.
  const isRead = async (): Promise<void> => {
    const job = await jobWith(cube);
    await runJob(job, await workContext());
    expect(await reportOf(job, 'dpx-10')).toMatchObject({ state: 'published', findings: [] });
  };
  if (everyRow) test('is read beside the reports', isRead);

  test.each([
    ['is not there', null, 'transform-absent'],
    ['is another one', `${cube}\n`, 'colour-file-changed'],
  ])('that %s is reported by its name, and nothing is made', async (_, text, code) => {
    const job = await jobWith(text);
    await expect(runJob(job, await workContext())).rejects.toMatchObject({
      findings: [{ code, clip: 'A001C001', file: expect.stringContaining('cube') as unknown }],
    });
    expect(await reportOf(job, 'dpx-10')).toMatchObject({ state: 'failed', findings: [{ code }] });
  });
});
