/** Faults on the way from recorded or developed pictures to those of a display: each is held, and by which finding. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import type { Operation } from './operation.ts';

const PROFILE = 'test/fixtures/profiles/native-rdd36.yaml';

/** A movie in the range that log codes have, tagged BT.709 as cameras do, of which the settings say that it is log. */
async function recordedJob(): Promise<Job> {
  const folder = freshFolder('log');
  const path = join(folder, 'A001C001.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=384x216:r=24:d=1,noise=alls=6:allf=t,format=yuv422p10le'],
    '-vf',
    'lutyuv=y=220+(val-64)*0.5:u=512+(val-512)*0.35:v=512+(val-512)*0.35,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv',
    ...['-frames:v', '12', '-c:v', 'prores_ks', '-profile:v', '3', '-timecode', '01:00:00:00', path],
  );
  const place = { kind: 'movie', file: 'A001C001.mov' } as const;
  const clip = { rollFolder: folder, place, facts: await factsOf(path) };
  return await masterJob(clip, freshFolder('delivery'), [PROFILE], interpretation);
}
/** Log frames of R'G'B'. */
async function developedJob(): Promise<Job> {
  const folder = freshFolder('frames');
  mkdirSync(join(folder, 'A001C001'));
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=96x64:r=24:d=1,format=gbrp', '-frames:v', '6'],
    ...['-start_number', '1001', '-pix_fmt', 'gbrp10be', join(folder, 'A001C001', 'A001C001.%05d.dpx')],
  );
  const clip = await sequenceClip(folder, numberedFrames('.dpx', { padding: 5, count: 6 }));
  return await masterJob(clip, freshFolder('delivery'), [PROFILE], interpretation);
}

const graph = (from: string, to: string): Operation => ({ do: 'graph', stage: 'encoder', from, to });
/** In front of the table, behind the look at what goes into it; and behind the table. */
const inFront = (filters: string): Operation => graph(';[table0]', `;[table0]${filters},`);
const behind = (filters: string): Operation => graph(':interp=tetrahedral', `:interp=tetrahedral,${filters}`);
const one = "enable='eq(n\\,9)'";
/** S-Log3: 261.5 of 1023 codes a decade (as its maker publishes it; from memory), of codes whose white is 16320. */
const STOP = 'lutrgb=r=clip(val+1256\\,0\\,16383):g=clip(val+1256\\,0\\,16383):b=clip(val+1256\\,0\\,16383)';
const LESS_COLOUR = 'colorchannelmixer=.95:.04:.01:0:.01:.98:.01:0:.01:.04:.95';
const BLOCK = `geq=r='if(between(X\\,64\\,71)*between(Y\\,64\\,71)\\,16383\\,r(X\\,Y))':g='g(X\\,Y)':b='b(X\\,Y)':${one}`;

type Row = readonly [what: string, operation: Operation, code: string];
const recordedFaults: readonly Row[] = [
  ['the table left out', graph(':interp=tetrahedral', ':interp=tetrahedral:enable=0'), 'colour-way-differs'],
  ['exposure a stop off, in front of the table', inFront(STOP), 'colour-way-differs'],
  ['limited range taken for full', graph(':in_range=limited', ':in_range=full'), 'encoder-input-differs'],
  ['a frame lost behind the table', behind("select='not(eq(n\\,9))'"), 'colour-way-differs'],
  [
    'less colour on the way to the encoder',
    graph(';[shown-view0]', `;[shown-view0]${LESS_COLOUR},`),
    'encoder-input-differs',
  ],
  ...further<Row>(
    [
      'the table of another curve',
      graph(':interp=nearest', ':interp=nearest:enable=0'),
      'colour-way-differs',
    ],
    ['the nearest place of the table', graph(':interp=tetrahedral', ':interp=nearest'), 'colour-way-differs'],
    [
      'the table left out in one frame',
      graph(':interp=tetrahedral', ":interp=tetrahedral:enable='not(eq(n\\,9))'"),
      'colour-way-differs',
    ],
    [
      'exposure a stop off, of what is recorded',
      graph('format=gbrp14le,split', `format=gbrp14le,${STOP},split`),
      'encoder-input-differs',
    ],
    ['another matrix', graph('in_color_matrix=bt709', 'in_color_matrix=smpte170m'), 'encoder-input-differs'],
    ['a frame repeated behind the table', behind('shuffleframes=0 0 2 3 4 5'), 'colour-way-differs'],
    ['a block of one frame', behind(BLOCK), 'colour-way-differs'],
    ['less colour behind the table', behind(LESS_COLOUR), 'colour-way-differs'],
    [
      'a transfer tag that does not fit',
      graph('color_trc=bt709', 'color_trc=smpte2084'),
      'colour-tags-differ',
    ],
  ),
];
const developedFaults: readonly Row[] = [
  [
    "another frame's picture fed in",
    graph('showinfo=checksum=0,split', 'showinfo=checksum=0,shuffleframes=0 0 2 3 4 5,split'),
    'master-picture-differs',
  ],
  ...further<Row>(
    [
      'the table left out',
      graph(':interp=tetrahedral', ':interp=tetrahedral:enable=0'),
      'colour-way-differs',
    ],
    [
      'a code more in one frame that is fed in',
      graph('showinfo=checksum=0,split', "showinfo=checksum=0,lutrgb=r=val+1:enable='eq(n\\,3)',split"),
      'master-picture-differs',
    ],
    ['a frame lost behind the table', behind("select='not(eq(n\\,3))'"), 'colour-way-differs'],
  ),
];

describe.each([
  ['recorded', recordedJob, recordedFaults],
  ['developed', developedJob, developedFaults],
] as const)('pictures that are %s', (_, jobOf, faults) => {
  test('are ready without a fault', async () => {
    const { verdict, reported } = await runCase(
      await jobOf(),
      { do: 'none' },
      join(freshFolder('way'), 'case'),
    );
    expect(verdict, reported.join('; ')).toBe('ready');
  });

  test.each(faults)('%s: held', async (_what, operation, code) => {
    const { done, codes, reported } = await runCase(
      await jobOf(),
      operation,
      join(freshFolder('way'), 'case'),
    );
    expect([done, codes.includes(code)], reported.join('; ')).toEqual([true, true]);
  });
});
