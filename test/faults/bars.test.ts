/** Pictures of another shape than their raster: ready with exact black around them, and whatever else lies there is held. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { makeClip } from '../campaign/material.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { layDown } from '../support/display-matrix.ts';
import { everyRow, further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { masterJob } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { jobFor } from '../support/work.ts';
import type { Operation } from './operation.ts';

const PADDED = 'test/campaign/profiles/padded-vc3.yaml';
const WITH_TEXT = 'test/campaign/profiles/padded-h264.yaml';

async function jobOf(profile: string): Promise<Job> {
  return await jobFor(
    await makeClip(join(sharedFolder, 'campaign'), { picture: 'chart', form: 'film-two-tracks', take: 0 }),
    join(sharedFolder, 'bars-jobs'),
    [profile],
  );
}

const graph = (from: string, to: string): Operation => ({ do: 'graph', stage: 'encoder', from, to });
const inFile = (profile: string, filters: string): Operation => ({
  do: 'filter',
  stage: 'file',
  profile,
  filters,
  retag: true,
});
const one = "enable='eq(n\\,9)'";

type Row = readonly [what: string, profile: string, operation: Operation, code: string];
const faults: readonly Row[] = [
  ['the darkest grey for black', PADDED, graph('lutyuv=y=64:', 'lutyuv=y=65:'), 'bars-not-black'],
  [
    'a bar that is white in one frame, in the file',
    PADDED,
    inFile('padded-vc3', `lutyuv=y='if(lt(val,70),300,val)':${one}`),
    'picture-error-large',
  ],
  ...further<Row>(
    [
      'a picture two pixels beside its place',
      PADDED,
      graph(
        '[around0-above][around0-picture][around0-below]vstack',
        '[around0-below][around0-picture][around0-above]vstack',
      ),
      'bars-not-black',
    ],
    ['black of full range', PADDED, graph('lutyuv=y=64:', 'lutyuv=y=0:'), 'bars-not-black'],
    ['bars with a tint', PADDED, graph(':u=512:', ':u=514:'), 'bars-not-black'],
    [
      'bars that are 3 steps of 8 bits too light, in the file',
      PADDED,
      inFile('padded-vc3', "lutyuv=y='if(lt(val,70),val+12,val)'"),
      'bars-not-black',
    ],
    [
      'one pixel of a bar in one frame, before text is drawn',
      WITH_TEXT,
      graph('vstack=inputs=3', `vstack=inputs=3,drawbox=x=6:y=6:w=1:h=1:color=white:t=fill:${one}`),
      'bars-not-black',
    ],
  ),
];

describe('pictures in a raster of another shape', () => {
  test.each<readonly [string, string]>([
    ['without text', PADDED],
    ...further<readonly [string, string]>(['with text', WITH_TEXT]),
  ])('%s: ready', async (_what, profile) => {
    const job = await jobOf(profile);
    const [work] = job.deliverables;
    expect([work?.outcome.width, work?.outcome.height]).toEqual(profile === PADDED ? [288, 288] : [480, 480]);
    const { verdict, codes, reported } = await runCase(
      job,
      { do: 'none' },
      join(freshFolder('bars'), 'case'),
    );
    expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
  });

  const framed = async (): Promise<void> => {
    const folder = freshFolder('framed');
    const path = join(folder, 'A001C001.mov');
    await ffmpeg(
      ...['-f', 'lavfi', '-i', 'testsrc2=s=320x240:r=25:d=1,format=yuv422p10le'],
      ...['-vf', 'lutyuv=y=220+(val-64)*0.5:u=512+(val-512)*0.35:v=512+(val-512)*0.35', '-frames:v', '8'],
      ...['-c:v', 'prores_ks', '-profile:v', '3', '-timecode', '01:00:00:00', path],
    );
    layDown(path, [0, 1, -1, 0]);
    const facts = await factsOf(path);
    const frameLine = { left: 0, top: 0.125, width: 1, height: 0.75 };
    const job = await masterJob(
      {
        rollFolder: folder,
        place: { kind: 'movie', file: 'A001C001.mov' },
        facts: { ...facts, video: { ...facts.video, frameLine } },
      },
      freshFolder('delivery'),
      [PADDED],
      interpretation,
    );
    const [work] = job.deliverables;
    // A square of 240 x 240 out of 240 x 320, in a box of 288 x 288.
    expect(work?.outcome).toMatchObject({
      proof: { framing: { scaled: { width: 288, height: 384 }, window: { left: 0, top: 48 }, inset: null } },
    });
    const { verdict, reported } = await runCase(job, { do: 'none' }, join(freshFolder('bars'), 'case'));
    expect(verdict, reported.join('; ')).toBe('ready');
  };
  if (everyRow) test('a frame line of a turned clip that goes a colour way: ready', framed);

  test.each(faults)('%s: held', async (_what, profile, operation, code) => {
    const { verdict, done, codes, reported } = await runCase(
      await jobOf(profile),
      operation,
      join(freshFolder('bars'), 'case'),
    );
    expect([done, verdict, codes.includes(code)], reported.join('; ')).toEqual([true, 'held', true]);
  });
});
