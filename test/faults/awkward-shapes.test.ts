/** Clips of fields, lying on their side, mirrored, of pixels that are not square, log and plain: ready as they should be, and each fault of their shape is held. */
import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { statedShape } from '../../check/orientation.ts';
import type { Job } from '../../ledger/job.ts';
import { fieldsFailure, orientationFailure } from '../../worker/spot.ts';
import { runCase } from '../campaign/run-case.ts';
import { layDown } from '../support/display-matrix.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import type { Operation } from './operation.ts';

const PROFILE = 'test/fixtures/profiles/awkward-rdd36.yaml';
/** In the range that log codes have. */
const LOG = 'lutyuv=y=220+(val-64)*0.5:u=512+(val-512)*0.35:v=512+(val-512)*0.35';
const TAGS = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';

/** Bottom field first, of things that move between its fields. */
async function woven(...besides: readonly string[]): Promise<Job> {
  const folder = freshFolder('woven');
  const path = join(folder, 'A001C001.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x240:r=50:d=1,format=yuv422p10le'],
    ...['-vf', `${LOG},tinterlace=interleave_bottom,setfield=bff,${TAGS}`, '-frames:v', '10'],
    ...['-c:v', 'prores_ks', '-profile:v', '3', '-flags', '+ildct+ilme', '-top', '0'],
    ...['-timecode', '01:00:00:00', path],
  );
  const clip = {
    rollFolder: folder,
    place: { kind: 'movie', file: 'A001C001.mov' } as const,
    facts: await factsOf(path),
  };
  return await masterJob(clip, freshFolder('delivery'), [PROFILE, ...besides], interpretation);
}

/** 4:2:2, mirrored and on its side, pixels of 4 to 3. */
async function lying(said: typeof interpretation | null): Promise<Job> {
  const folder = freshFolder('lying');
  const path = join(folder, 'A001C001.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x240:r=25:d=1,format=yuv422p10le'],
    ...['-vf', `${LOG},setsar=4/3,${TAGS}`, '-frames:v', '8'],
    ...['-c:v', 'prores_ks', '-profile:v', '3', '-timecode', '01:00:00:00', path],
  );
  layDown(path, [0, -1, -1, 0]);
  const clip = {
    rollFolder: folder,
    place: { kind: 'movie', file: 'A001C001.mov' } as const,
    facts: await factsOf(path),
  };
  const profiles = said === null ? [PROFILE] : [PROFILE, 'grading-master-exr'];
  return await masterJob(clip, freshFolder('delivery'), profiles, said ?? { ...interpretation, input: null });
}

/** As a phone records it: 4:2:0 of 8 bits on its side, in pictures that its profile does not scale. */
async function phone(): Promise<Job> {
  const folder = freshFolder('phone');
  const path = join(folder, 'A001C001.mp4');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', `testsrc2=s=320x240:r=25:d=1,format=yuv420p,${TAGS}`, '-frames:v', '8'],
    ...['-c:v', 'libx264', '-timecode', '01:00:00:00', path],
  );
  layDown(path, [0, 1, -1, 0]);
  const clip = {
    rollFolder: folder,
    place: { kind: 'movie', file: 'A001C001.mp4' } as const,
    facts: await factsOf(path),
  };
  const profile = 'test/fixtures/profiles/small-h264.yaml';
  return await masterJob(clip, freshFolder('delivery'), [profile], { ...interpretation, input: null });
}

type Still = 'dpx' | 'tif';
/** Written into what ffmpeg wrote upright. DPX: the field (SMPTE ST 268-1, byte 768). TIFF: the entry of Software (305) becomes one of Orientation (274), a short. */
function lieDown(path: string, still: Still, code: number): void {
  const bytes = readFileSync(path);
  if (still === 'dpx') bytes.writeUInt16BE(code, 768);
  else {
    const first = bytes.readUInt32LE(4);
    const entries = Array.from({ length: bytes.readUInt16LE(first) }, (_, entry) => first + 2 + 12 * entry);
    const software = entries.find((at) => bytes.readUInt16LE(at) === 305);
    const behind = entries.find((at) => bytes.readUInt16LE(at) > 274);
    if (software === undefined || behind === undefined) throw new RangeError('no entry to write over');
    // Tags stand in the order of their numbers.
    bytes.copyWithin(behind + 12, behind, software);
    for (const [at, value] of [274, 3, 1, 0, code, 0].entries()) bytes.writeUInt16LE(value, behind + 2 * at);
  }
  writeFileSync(path, bytes);
}

/** Numbered frames in log, of R'G'B', that say that they lie otherwise. `said` null: shown as recorded. */
async function lyingStills(still: Still, code: number, said: typeof interpretation | null): Promise<Job> {
  const folder = freshFolder('lying-stills');
  mkdirSync(join(folder, 'A001C001'));
  const pixels = still === 'dpx' ? 'gbrp10be' : 'rgb48le';
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x240:r=24:d=1,format=gbrp10le', '-frames:v', '4'],
    ...['-vf', `lutrgb=r=220+val*0.5:g=220+val*0.5:b=220+val*0.5,scale,format=${pixels}`],
    ...['-start_number', '1001', join(folder, 'A001C001', `A001C001.%04d.${still}`)],
  );
  const place = numberedFrames(`.${still}`, { padding: 4, count: 4 });
  for (let frame = 0; frame < place.count; frame += 1)
    lieDown(join(folder, place.folder, `A001C001.${1001 + frame}.${still}`), still, code);
  const clip = await sequenceClip(folder, place);
  const timing = { timecode: '01:00:00:00' };
  return await masterJob(
    { ...clip, facts: { ...clip.facts, timing } },
    freshFolder('delivery'),
    said === null ? [PROFILE] : [PROFILE, 'grading-master-exr'],
    said ?? { ...interpretation, input: null },
  );
}

/** Matroska whose projection says that it lies on its side, mirrored (test/fixtures/SOURCES.md). */
async function matroska(): Promise<Job> {
  const folder = freshFolder('matroska');
  const file = 'A001C001.mkv';
  copyFileSync('test/fixtures/movies/turned-rot90-mirrored.mkv', join(folder, file));
  const clip = {
    rollFolder: folder,
    place: { kind: 'movie', file } as const,
    facts: await factsOf(join(folder, file)),
  };
  return await masterJob(clip, freshFolder('delivery'), [PROFILE], { ...interpretation, input: null });
}

const graph = (from: string, to: string): Operation => ({ do: 'graph', stage: 'encoder', from, to });
type Row = readonly [what: string, operation: Operation, code: string];
const DEINTERLACED = 'bwdif=mode=send_frame:parity=bff:deint=all,scale';
const wovenFaults: readonly Row[] = [
  ['the other field first', graph(DEINTERLACED, DEINTERLACED.replace('bff', 'tff')), 'encoder-input-differs'],
  ...further<Row>(
    [
      'the later field dropped, and lines of the earlier one doubled',
      graph(DEINTERLACED, 'field=type=bottom,scale=w=iw:h=2*ih:flags=neighbor,scale'),
      'encoder-input-differs',
    ],
    ['both fields in one frame', graph(DEINTERLACED, 'scale'), 'encoder-input-differs'],
  ),
];
const FOR_MASTERS = 'bwdif=mode=send_frame:parity=bff:deint=all,format=yuv422p10le,split=2[frames-made]';
const masterFaults: readonly Row[] = [
  ['the other field first', graph(FOR_MASTERS, FOR_MASTERS.replace('bff', 'tff')), 'fields-reversed'],
  ...further<Row>(
    [
      'both fields in one frame',
      graph(FOR_MASTERS, 'format=yuv422p10le,split=2[frames-made]'),
      'master-frames-not-as-decoded',
    ],
    [
      'another deinterlacer',
      graph(FOR_MASTERS, FOR_MASTERS.replace('bwdif', 'yadif')),
      'master-spot-check-differs',
    ],
    [
      "two frames in each other's place",
      graph(FOR_MASTERS, FOR_MASTERS.replace('split', 'shuffleframes=0 2 1 3 4,split')),
      'master-frames-not-as-decoded',
    ],
  ),
];
const lyingFaults: readonly Row[] = [
  [
    'turned the other way',
    graph('transpose=dir=clock_flip', 'transpose=dir=cclock_flip'),
    'decode-other-clip',
  ],
  ['the shape of its pixels left out', graph('setsar=sar=3/4:max=100', 'setsar=1'), 'raster-differs'],
  ...further<Row>(
    ['not mirrored', graph('transpose=dir=clock_flip', 'transpose=dir=clock'), 'decode-other-clip'],
    [
      'the shape of its pixels the other way round',
      graph('setsar=sar=3/4:max=100', 'setsar=sar=4/3:max=100'),
      'raster-differs',
    ],
    [
      'chroma where it lay before it was turned',
      graph('in_v_chr_pos=256', 'in_v_chr_pos=128'),
      'encoder-input-differs',
    ],
  ),
];

const stillFaults: readonly Row[] = further<Row>([
  'turned the other way',
  graph('transpose=dir=clock', 'transpose=dir=cclock'),
  'decode-other-clip',
]);

const phoneFaults: readonly Row[] = further<Row>([
  'chroma of a picture that is not scaled left where it lay',
  graph('format=yuv444p16le', 'format=yuv420p'),
  'encoder-input-differs',
]);

const matroskaFaults: readonly Row[] = further<Row>([
  'not mirrored',
  graph('transpose=dir=clock_flip', 'transpose=dir=clock'),
  'decode-other-clip',
]);

describe.each([
  ['log of fields', () => woven(), wovenFaults],
  ['a master of fields', () => woven('test/fixtures/profiles/fields-exr.yaml'), masterFaults],
  ['of a phone held upright', phone, phoneFaults],
  ['Matroska on its side, mirrored', matroska, matroskaFaults],
  ['log on its side, mirrored', () => lying(interpretation), lyingFaults],
  ['DPX whose lines run down and follow to the left', () => lyingStills('dpx', 5, null), stillFaults],
  ...further(
    ['TIFF of orientation 6', () => lyingStills('tif', 6, null), stillFaults] as const,
    [
      'log DPX whose lines run up and follow to the left',
      () => lyingStills('dpx', 7, interpretation),
      [] as readonly Row[],
    ] as const,
    ['plain, on its side, mirrored', () => lying(null), lyingFaults] as const,
  ),
] as const)('%s', (_, jobOf, faults) => {
  test('ready without a fault', async () => {
    const { verdict, reported } = await runCase(
      await jobOf(),
      { do: 'none' },
      join(freshFolder('shape'), 'case'),
    );
    expect(verdict, reported.join('; ')).toBe('ready');
  });

  test.each(faults)('%s: held', async (_what, operation, code) => {
    const { done, codes, reported } = await runCase(
      await jobOf(),
      operation,
      join(freshFolder('shape'), 'case'),
    );
    expect([done, codes.includes(code)], reported.join('; ')).toEqual([true, true]);
  });
});

test('of the field that is the earlier one no other statement may contradict', async () => {
  const job = await woven();
  expect(job.facts.video.fieldOrder).toBe('bottom-first');
  const { rollFolder, clip, facts } = job;
  if (clip.place.kind !== 'movie') throw new RangeError('a movie');
  expect((await statedShape(join(rollFolder, clip.place.file), facts.video.streamIndex)).earlierField).toBe(
    'bottom',
  );
  const said = (stated: 'top' | 'bottom' | null, top: number, bottom: number) =>
    fieldsFailure(job, stated, { top, bottom })?.code ?? null;
  expect([said('bottom', 0, 10), said(null, 0, 0), said('bottom', 0, 0)]).toEqual([null, null, null]);
  expect([said('top', 0, 10), said('bottom', 1, 9), said(null, 10, 0)]).toEqual(
    Array.from({ length: 3 }, () => 'fields-stated-otherwise'),
  );
});

test('a clip that was taken in with another turn than its file says is held', async () => {
  const job = await lying(null);
  const as = (rotation: 0 | 90 | 180 | 270, mirrored?: boolean) =>
    orientationFailure(
      {
        ...job,
        facts: {
          ...job.facts,
          video: { ...job.facts.video, rotation, ...(mirrored ? { mirrored } : { mirrored: false }) },
        },
      },
      [0, -1, -1, 0],
    )?.code ?? null;
  expect([as(90, true), as(90), as(270, true), as(0), as(0, true)]).toEqual([
    null,
    ...Array.from({ length: 4 }, () => 'turn-differs'),
  ]);
  expect(orientationFailure(job, null)?.code).toBe('turn-differs');
  expect(orientationFailure(job, 'other')?.code).toBe('turn-differs');
});
