/**
 * A frame of each field: ready, with the lines of the progressive pictures that the fields were taken from, and held with fields in another order, one of them
 * repeated or both in one frame.
 */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { layout } from '../../ledger/layout.ts';
import type { Job } from '../../ledger/job.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { runJob } from '../../worker/job.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { masterJob } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { workContext } from '../support/work.ts';
import type { Operation } from './operation.ts';

const PROFILE = 'test/fixtures/profiles/split-rdd36.yaml';
const [WIDTH, HEIGHT, FRAMES] = [320, 240, 10];
const TAGS = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';

interface Form {
  readonly first: 'top' | 'bottom';
  /** Of the clip, frames a second; the pictures that its fields are taken from come twice as fast. */
  readonly rate: string;
  readonly twice: string;
  readonly start: string;
}
const bottom: Form = { first: 'bottom', rate: '25', twice: '50', start: '01:00:00:07' };
const top: Form = { first: 'top', rate: '30000/1001', twice: '60000/1001', start: '10:00:59;28' };

/** Things that move and turn from field to field. */
const pictures = ({ twice }: Form): string =>
  `testsrc2=s=${WIDTH}x${HEIGHT}:r=${twice},format=yuv422p10le,rotate=a=n/15:c=gray,trim=end_frame=${2 * FRAMES}`;

async function woven(form: Form): Promise<Job> {
  const folder = freshFolder('split');
  const file = 'A001C001.mov';
  const path = join(folder, file);
  const isTop = form.first === 'top';
  await ffmpeg(
    ...['-f', 'lavfi', '-i', pictures(form)],
    ...['-vf', `tinterlace=interleave_${form.first},setfield=${isTop ? 'tff' : 'bff'},${TAGS}`],
    ...['-c:v', 'prores_ks', '-profile:v', '3', '-flags', '+ildct+ilme', '-top', isTop ? '1' : '0'],
    ...['-timecode', form.start, path],
  );
  const clip = { rollFolder: folder, place: { kind: 'movie', file } as const, facts: await factsOf(path) };
  return await masterJob(clip, freshFolder('delivery'), [PROFILE], { ...interpretation, input: null });
}

/** Luma of every picture, 10 bits. */
function lumaOf(...input: readonly string[]): Uint16Array[] {
  const bytes = execFileSync(
    'ffmpeg',
    [
      ...['-v', 'error', '-nostdin', ...input, '-map', '0:v', '-fps_mode', 'passthrough'],
      ...['-pix_fmt', 'yuv422p10le', '-f', 'rawvideo', '-'],
    ],
    { maxBuffer: 2 ** 30 },
  );
  const size = 2 * WIDTH * HEIGHT;
  return Array.from({ length: bytes.length / (2 * size) }, (_, frame) =>
    Uint16Array.from({ length: WIDTH * HEIGHT }, (_value, at) =>
      bytes.readUInt16LE(2 * size * frame + 2 * at),
    ),
  );
}

/** Root of the mean square, over every second line from `first` on. */
function apart(one: Uint16Array, other: Uint16Array, first: 0 | 1): number {
  let sum = 0;
  for (let y = first; y < HEIGHT; y += 2)
    for (let x = 0; x < WIDTH; x += 1)
      sum += ((one[y * WIDTH + x] as number) - (other[y * WIDTH + x] as number)) ** 2;
  return Math.sqrt(sum / (WIDTH * (HEIGHT / 2)));
}

test.each<readonly [string, Form, { rate: object; timecode: object }]>([
  [
    'bottom field first, 25 a second',
    bottom,
    // 01:00:00:07 in labels of base 50: 01:00:00:14.
    { rate: { num: 50, den: 1 }, timecode: { frame: 50 * 3600 + 14, base: 50, drop: false } },
  ],
  ...further<readonly [string, Form, { rate: object; timecode: object }]>([
    'top field first, 29.97 a second, drop-frame',
    top,
    // 10:00:59;56: 4 labels less in each of 540 minutes (SMPTE ST 12-1).
    {
      rate: { num: 60_000, den: 1001 },
      timecode: { frame: 60 * (36_000 + 59) + 56 - 4 * 540, base: 60, drop: true },
    },
  ]),
])(
  '%s: frames 2k and 2k + 1 have the lines of the pictures that the fields of frame k were taken from',
  async (_title, form, expected) => {
    const job = await woven(form);
    const [deliverable] = job.deliverables;
    expect(deliverable?.outcome).toMatchObject({
      ...expected,
      frames: 2 * FRAMES,
      cadence: { split: { earlier: form.first } },
    });
    await runJob(job, await workContext());
    const report = deliverableReportSchema.parse(
      JSON.parse(
        readFileSync(layout.deliverableReport(job.deliveryFolder, job.clip.id, 'split-rdd36'), 'utf8'),
      ),
    );
    expect(report.findings.map(({ code }) => code)).toEqual([]);
    const recorded = lumaOf('-f', 'lavfi', '-i', pictures(form));
    const made = lumaOf('-i', join(job.deliveryFolder, report.file?.path ?? ''));
    expect([recorded.length, made.length]).toEqual([2 * FRAMES, 2 * FRAMES]);
    for (const [frame, picture] of made.entries()) {
      const isUpper = (form.first === 'top') === (frame % 2 === 0);
      const own = apart(picture, recorded[frame] as Uint16Array, isUpper ? 0 : 1);
      const others = [frame - 1, frame + 1].flatMap((other) =>
        recorded[other] === undefined ? [] : [apart(picture, recorded[other], isUpper ? 0 : 1)],
      );
      // Two generations of the codec are a part of what the next picture is away.
      expect([frame, own < 40, Math.min(...others) > 3 * own]).toEqual([frame, true, true]);
    }
  },
);

const graph = (from: string, to: string): Operation => ({ do: 'graph', stage: 'encoder', from, to });
const SPLIT = 'bwdif=mode=send_field:parity=bff:deint=all,settb';
/** Behind it, all pictures in another order, by their numbers. */
const reordered = (order: readonly number[]): Operation =>
  graph(SPLIT, SPLIT.replace(',settb', `,shuffleframes=${order.join(' ')},settb`));
const inOrder = Array.from({ length: 2 * FRAMES }, (_, frame) => frame);
const encoderFrames = (map: readonly number[]): Operation => ({
  do: 'frames',
  stage: 'encoder',
  profile: 'split-rdd36',
  map,
  count: 2 * FRAMES,
});
type Row = readonly [what: string, operation: Operation, codes: readonly string[]];
const swappedOnce = inOrder.map((frame) => (frame === 6 ? 7 : frame === 7 ? 6 : frame));

describe('held', () => {
  test.each<Row>([
    [
      'the fields of each frame in the other order',
      graph(SPLIT, SPLIT.replace('bff', 'tff')),
      ['fields-reversed'],
    ],
    ...further<Row>(
      ['the frames of each pair swapped', reordered([1, 0]), ['fields-reversed']],
      ['the earlier field of each frame twice', reordered([0, 0]), ['fields-reversed']],
      ['the frames of one pair swapped', reordered(swappedOnce), ['split-frames-not-as-decoded']],
      [
        'one field twice',
        reordered(inOrder.map((frame) => (frame === 9 ? 8 : frame))),
        ['split-frames-not-as-decoded'],
      ],
      [
        'both fields in one frame, and each of those twice',
        graph(SPLIT, 'null,shuffleframes=0,fps=50,settb'),
        ['encoder-input-differs'],
      ],
      [
        'lines of each field doubled',
        graph(SPLIT, `${SPLIT.replace(',settb', '')},field=type=top,scale=w=iw:h=2*ih:flags=neighbor,settb`),
        ['encoder-input-differs'],
      ],
      ['another deinterlacer', graph(SPLIT, SPLIT.replace('bwdif', 'yadif')), ['encoder-input-differs']],
      ['one pair swapped before the encoder', encoderFrames(swappedOnce), ['frames-swapped']],
    ),
  ])('%s', async (_what, operation, codes) => {
    const {
      done,
      codes: held,
      reported,
    } = await runCase(await woven(bottom), operation, join(freshFolder('split'), 'case'));
    expect(done, reported.join('; ')).toBe(true);
    expect(held, reported.join('; ')).toEqual(expect.arrayContaining([...codes]));
  });
});
