/** Stills of clips as a worker makes them, and faults in their making. */
import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type StillsReport, stillsReportSchema } from '../../ledger/stills-report.ts';
import { usualWay } from '../../media/colour/way.ts';
import { decideStills } from '../../profiles/stills/decide.ts';
import type { StillsAsked } from '../../profiles/stills/schema.ts';
import { usualStills } from '../../profiles/stills/usual.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip, rawClip } from '../support/masters.ts';
import { ffmpeg, type MovieOptions } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'test/fixtures/profiles/native-rdd36.yaml';
type Input = NonNullable<typeof interpretation.input> | null;

/** A job of the clip that makes its stills alone. */
async function stillsJob(
  clip: ClipOnDisk,
  input: Input,
  asked: StillsAsked = { ...usualStills, width: 160 },
): Promise<Job> {
  const facts = { ...clip.facts, way: usualWay };
  const job = await masterJob({ ...clip, facts }, freshFolder('delivery'), [PROFILE], {
    ...interpretation,
    input,
  });
  const { stills, notes } = decideStills({ clip: job.clip, facts: job.facts, asked });
  if (stills === null) throw new Error(JSON.stringify(notes));
  return { ...job, deliverables: [], stills };
}

const reportOf = (job: Job): StillsReport =>
  stillsReportSchema.parse(
    JSON.parse(readFileSync(layout.stillsReport(job.deliveryFolder, job.clip.id), 'utf8')),
  );

async function made(job: Job): Promise<StillsReport> {
  await runJob(job, await workContext());
  return reportOf(job);
}

const plain: MovieOptions = { codec: 'h264', size: '320x180', frames: 30, rate: '25' };
const log: MovieOptions = { codec: 'prores', size: '320x180', frames: 12, rate: '25' };

test('show the frames in the middles of equal parts', async () => {
  const clip = await movieClip(freshFolder('roll'), plain);
  const job = await stillsJob(clip, null);
  const { state, stills, outcome, checks } = await made(job);
  expect([state, outcome.shows, checks.map(({ status }) => status)]).toEqual([
    'published',
    'for-display',
    ['passed', 'passed'],
  ]);
  expect(stills.map(({ frame, timecode, width, height }) => [frame, timecode, width, height])).toEqual([
    [3, '01:00:00:03', 160, 90],
    [11, '01:00:00:11', 160, 90],
    [18, '01:00:00:18', 160, 90],
    [26, '01:00:01:01', 160, 90],
  ]);
});

test.each<[string, () => Promise<ClipOnDisk>, Input, string]>([
  ['a log movie', () => movieClip(freshFolder('roll'), log), { name: 'slog3-sgamut3cine' }, 'shown'],
  ['raw frames', () => rawClip(freshFolder('roll'), { width: 320, height: 180, frames: 3 }), null, 'shown'],
])('of %s go its colour way', async (_, clip, input, shows) => {
  const { state, outcome, checks } = await made(await stillsJob(await clip(), input));
  expect([state, outcome.shows, checks.map(({ check, status }) => `${check} ${status}`)]).toEqual([
    'published',
    shows,
    ['still-form passed', 'still-pixels passed'],
  ]);
});

/** Chroma that is interpolated by another cubic than the scaler's is off by up to 27 steps here. */
test('of noise in colour, said to be log, are met to the rounding of 8 bits', async () => {
  const rollFolder = freshFolder('roll');
  const path = join(rollFolder, 'A001C001.mov');
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'color=c=gray:s=320x180:r=25,noise=alls=60:allf=t,format=yuv422p10le'],
    ...['-frames:v', '1', '-c:v', 'prores_ks', '-profile:v', '2', '-timecode', '01:00:00:00', path],
  );
  const clip = {
    rollFolder,
    place: { kind: 'movie', file: 'A001C001.mov' } as const,
    facts: await factsOf(path),
  };
  const input = { name: 'slog3-sgamut3cine' } as const;
  const { state, checks } = await made(await stillsJob(clip, input, { ...usualStills, width: 320 }));
  expect(state).toBe('published');
  expect(checks[1]?.measured).toContain('100.0 % within 2 steps of 8 bits');
});

/**
 * Bars of 75 % as SMPTE RP 219 has them: 0.75 on a display of ITU-R BT.1886 is light of 0.75 to the power 2.4, and of that IEC 61966-2-1 makes
 * 1.055 x 0.75 - 0.055 = 0.736, which is 187.7 of 255. Read by ffmpeg.
 */
test('of bars of 75 % have the codes of sRGB for the light that a display of BT.1886 gives', async () => {
  const job = await stillsJob(
    await movieClip(freshFolder('roll'), {
      ...{ codec: 'prores', size: '320x180', frames: 1, rate: '25' },
      picture: 'smptehdbars',
    }),
    null,
    { ...usualStills, width: 320 },
  );
  const { stills } = await made(job);
  const [still] = stills;
  if (still === undefined) throw new Error('no still');
  const picture = execFileSync('ffmpeg', [
    ...['-v', 'error', '-i', join(layout.stillsFolder(job.deliveryFolder), basename(still.path))],
    ...['-f', 'rawvideo', '-pix_fmt', 'rgb24', '-'],
  ]);
  // Seven bars in the middle three quarters; the source has 8 bits, whose rounding a channel may see twice.
  const lit = ['RGB', 'RG', 'GB', 'G', 'RB', 'R', 'B'];
  for (const [bar, channels] of lit.entries()) {
    const pixel = 3 * (60 * 320 + 40 + Math.round((bar + 0.5) * (240 / 7)));
    for (const [at, channel] of ['R', 'G', 'B'].entries()) {
      const off = (picture[pixel + at] as number) - (channels.includes(channel) ? 187.7 : 0);
      expect(Math.abs(off), `${channel} of bar ${bar}`).toBeLessThan(4);
    }
  }
});

/** ffmpeg that makes stills, and nothing else, with `from` in its filters replaced by `to`. */
function making(from: string, to: string): string {
  const path = join(freshFolder('stand-in'), 'ffmpeg');
  writeFileSync(
    path,
    `#!${process.execPath}
const { spawnSync } = require('node:child_process');
const args = process.argv.slice(2).map((arg) => (arg.includes('lut1d') ? arg.replace(${JSON.stringify(from)}, ${JSON.stringify(to)}) : arg));
process.exit(spawnSync('ffmpeg', args, { stdio: Array.from({ length: 12 }, () => 'inherit') }).status ?? 1);
`,
    { mode: 0o755 },
  );
  return path;
}

/** ffmpeg that writes down how many pictures each start of it is asked for; `refuses`: more than one at a time it does not make. */
function counting(refuses: boolean): { readonly path: string; asked(): number[] } {
  const folder = freshFolder('stand-in');
  const [path, notes] = [join(folder, 'ffmpeg'), join(folder, 'notes')];
  writeFileSync(
    path,
    `#!${process.execPath}
const { spawnSync } = require('node:child_process');
const { appendFileSync } = require('node:fs');
const args = process.argv.slice(2);
const pictures = args.filter((arg) => arg === '-filter_complex').length;
appendFileSync(${JSON.stringify(notes)}, pictures + '\\n');
process.exit(${refuses} && pictures > 1 ? 1 : (spawnSync('ffmpeg', args, { stdio: Array.from({ length: 12 }, () => 'inherit') }).status ?? 1));
`,
    { mode: 0o755 },
  );
  return { path, asked: () => readFileSync(notes, 'utf8').trim().split('\n').map(Number) };
}

test.each([
  ['two starts, one to make and one to prove', false, [3, 3]],
  ['a start each where they do not come together', true, [3, 1, 1, 1, 3, 1, 1, 1]],
])('of several frames take %s', async (_, refuses, starts) => {
  const job = await stillsJob(await movieClip(freshFolder('roll'), plain), null, {
    ...usualStills,
    count: 3,
    width: 160,
  });
  const program = counting(refuses);
  await runJob(job, await workContext({ ffmpeg: program.path }));
  expect(reportOf(job).checks.map(({ status }) => status)).toEqual(['passed', 'passed']);
  // In turns: a still is proved before the next one is made.
  expect(program.asked().toSorted()).toEqual(starts.toSorted());
});

test.each([
  [
    'the next frame, with the time of the right one',
    'checksum=0[in]',
    'checksum=0,trim=start_frame=1[in]',
    1,
  ],
  ['the next frame in each of several', 'checksum=0[in]', 'checksum=0,trim=start_frame=1[in]', 3],
  ['another look', 'lut1d=', 'lutrgb=r=val*0.9,lut1d=', 1],
  ['another place', 'mergeplanes=', 'hflip,mergeplanes=', 3],
])('of %s are not published', async (_, from, to, count) => {
  const job = await stillsJob(
    await movieClip(freshFolder('roll'), log),
    { name: 'slog3-sgamut3cine' },
    {
      ...usualStills,
      count,
      width: 160,
    },
  );
  await expect(runJob(job, await workContext({ ffmpeg: making(from, to) }))).rejects.toThrow(/still-differs/);
  const { state, findings, stills } = reportOf(job);
  expect([state, findings.map(({ code }) => code), stills]).toEqual(['failed', ['still-differs'], []]);
  expect(readdirSync(layout.stillsFolder(job.deliveryFolder))).toEqual(['A001C001.json']);
});
