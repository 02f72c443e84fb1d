/**
 * Masters of interlaced clips that were cut into several movies, and of such as lie otherwise than they are seen: each frame is that of the clip in one file, and that of
 * the clip as it is coded, turned by OpenImageIO's oiiotool. And what is made otherwise is held.
 */
import { execFileSync } from 'node:child_process';
import { copyFileSync, existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { surveyClip } from '../../coordinator/survey/index.ts';
import { blocks } from '../../findings/finding.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { layDown } from '../support/display-matrix.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import { groupFolder, interpretation, reportOf } from '../support/master.ts';
import { masterJob } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const FRAMES = 9;
/** First frame of the second part. */
const JOINT = 4;
const NAME = 'A001C001';
const EXR = 'test/fixtures/profiles/fields-exr.yaml';
const TAGS = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';
/** In the range that log codes have. */
const LOG = 'lutyuv=y=220+(val-64)*0.5:u=512+(val-512)*0.35:v=512+(val-512)*0.35';

/** Top field first, of things that move between its fields. */
async function woven(folder: string, pixels: string): Promise<string> {
  const path = join(folder, `${NAME}.mov`);
  await ffmpeg(
    ...['-f', 'lavfi', '-i', `testsrc2=s=160x120:r=50:d=1,format=${pixels},noise=alls=8:allf=t`],
    ...['-vf', `${LOG},tinterlace=interleave_top,setfield=tff,${TAGS}`, '-frames:v', String(FRAMES)],
    ...['-c:v', 'prores_ks', '-profile:v', pixels === 'yuv422p10le' ? '3' : '4', '-flags', '+ildct+ilme'],
    ...['-timecode', '01:00:00:00', path],
  );
  return path;
}

async function jobOf(folder: string, profile: string, delivery = freshFolder('delivery')): Promise<Job> {
  const facts = await factsOf(join(folder, `${NAME}.mov`));
  const place = { kind: 'movie' as const, file: `${NAME}.mov` };
  return await masterJob({ rollFolder: folder, place, facts }, delivery, [profile], interpretation);
}

type Matrix = Parameters<typeof layDown>[1];

/** The packets of the movie in two, as a camera cuts them. */
async function spanned(whole: string, profile: string, matrix?: Matrix): Promise<Job> {
  const folder = freshFolder('spanned');
  const files = [`${NAME}.mov`, `${NAME}_1.mov`] as const;
  await ffmpeg(
    ...['-i', whole],
    ...['-map', '0:v', '-c', 'copy', '-frames:v', String(JOINT), '-timecode', '01:00:00:00'],
    join(folder, files[0]),
    ...['-map', '0:v', '-ss', String(JOINT / 25), '-c', 'copy'],
    ...['-timecode', `01:00:00:0${JOINT}`, join(folder, files[1])],
  );
  if (matrix !== undefined) for (const file of files) layDown(join(folder, file), matrix);
  const place = {
    kind: 'spanned' as const,
    parts: files.map((file) => ({ file, bytes: 1, checksum: 'md5:0' })),
    namedBy: 'suffix',
    continuesBy: 'timecode' as const,
  };
  const clip = { id: NAME, name: NAME, place, bytes: 1, contentDigest: 'aa' };
  const { facts, findings } = await surveyClip(clip, folder, await mediaTools());
  if (facts === null) throw new Error(JSON.stringify(findings));
  return await masterJob(
    { rollFolder: folder, place, facts },
    freshFolder('delivery'),
    [profile],
    interpretation,
  );
}

async function turned(whole: string, matrix: Matrix, profile = EXR) {
  const folder = freshFolder('turned');
  copyFileSync(whole, join(folder, `${NAME}.mov`));
  layDown(join(folder, `${NAME}.mov`), matrix);
  return await jobOf(folder, profile);
}

/** The same job of some frames of its clip. */
async function stretchOf(job: Job, profile: string, start: number, frames: number): Promise<Job> {
  const clip = {
    ...job.clip,
    id: `${NAME}.${start}-${start + frames - 1}`,
    stretch: { start, frames, day: job.day },
  };
  const { profiles } = await loadProfiles({ wanted: [profile] });
  return {
    ...job,
    clip,
    span: { start, count: frames },
    deliverables: profiles.map((loaded) => {
      const decided = decideOutcome({ ...job, clip, profile: loaded.profile });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return workOf(loaded.profile, loaded.hash, decided.outcome);
    }),
  };
}

/** Made, and every check passed: the files of the master, in order, or the one that it is. */
async function mastered(job: Job): Promise<readonly string[]> {
  await runJob(job, await workContext());
  const [work] = job.deliverables;
  if (work === undefined) throw new RangeError('no master');
  const report = await reportOf(job, work.profile.name);
  expect([report.state, report.checks.filter(({ status }) => status !== 'passed')]).toEqual([
    'published',
    [],
  ]);
  const path = join(job.deliveryFolder, work.profile.name, work.outcome.fileName);
  return work.outcome.kind === 'movie'
    ? [path]
    : readdirSync(path)
        .filter((name) => /\.(?:exr|dpx|tif)$/.test(name))
        .sort()
        .map((name) => join(path, name));
}

let folder: string;
let of422: string;
let coded: Promise<readonly string[]> | undefined;
/** The clip in one file, as it is coded; for all tests. */
const codedOnce = (): Promise<readonly string[]> =>
  (coded ??= jobOf(folder, EXR, groupFolder('coded')).then(mastered));
beforeAll(async () => {
  folder = groupFolder('fields');
  of422 = await woven(folder, 'yuv422p10le');
});

const profileOf = (extended: string): string => {
  const path = join(freshFolder('profile'), 'fields.yaml');
  writeFileSync(
    path,
    `version: 1\nname: fields\nsummary: Of fields\nextends: ${extended}\ninterlaced: deinterlace\n`,
  );
  return path;
};

/** What the job is held for where every ffmpeg is told `to` in the place of `from`. */
async function heldFor(job: Job, from: string, to: string): Promise<readonly string[]> {
  const tools = freshFolder('tools');
  const path = join(tools, 'ffmpeg');
  const [note, told, instead] = [join(tools, 'done'), join(tools, 'from'), join(tools, 'to')];
  writeFileSync(told, from);
  writeFileSync(instead, to);
  writeFileSync(
    path,
    `#!/bin/bash\nfrom=$(<'${told}') to=$(<'${instead}')\n[[ "$*" == *"$from"* ]] && : >'${note}'\nexec ffmpeg "\${@//"$from"/"$to"}"\n`,
    { mode: 0o755 },
  );
  const context = await workContext();
  try {
    await runJob(job, {
      ...context,
      tools: { ...context.tools, ffmpeg: { ...context.tools.ffmpeg, path } },
    });
  } catch (error) {
    // Its report is on disk all the same.
    if (!(error instanceof JobFailure)) throw error;
  }
  expect(existsSync(note)).toBe(true);
  const report = await reportOf(job, job.deliverables[0]?.profile.name ?? '');
  expect(report.state).not.toBe('published');
  return [...new Set(report.findings.filter(blocks).map(({ code }) => code))];
}
const BWDIF = 'bwdif=mode=send_frame:parity=tff:deint=all';

/** The pictures as they lie in the files: headers of frames name the file that each is from. */
function pictures(paths: readonly string[]): readonly string[] {
  const [first = ''] = paths;
  if (first.endsWith('.dpx'))
    // SMPTE ST 268-1: where the picture begins, a word of 32 bits at byte 4.
    return paths.map((path) => {
      const bytes = readFileSync(path);
      return bytes.subarray(bytes.readUInt32BE(4)).toString('base64');
    });
  return execFileSync('ffmpeg', [
    ...['-v', 'error', '-i', first, '-map', '0:v', '-c', 'copy', '-f', 'framemd5', '-'],
  ])
    .toString()
    .split('\n')
    .filter((line) => /^\d/.test(line))
    .map((line) => line.split(',').at(-1) ?? '');
}

/** Every value of every channel alike, by oiiotool. */
function expectSame(made: readonly string[], wanted: readonly string[], turn: readonly string[] = []): void {
  expect(made).toHaveLength(wanted.length);
  const said = execFileSync(
    'oiiotool',
    wanted.flatMap((path, index) => [
      ...[path, ...turn, made[index] as string],
      ...['--fail', '0', '--warn', '0', '--hardfail', '0', '--diff', '--pop', '--pop'],
    ]),
    { encoding: 'utf8' },
  );
  expect(said.match(/^PASS$/gm)).toHaveLength(wanted.length);
}

describe('cut into two movies', () => {
  test('OpenEXR: every pixel is that of the clip in one file', async () => {
    const one = await codedOnce();
    const two = await mastered(await spanned(of422, EXR));
    expect(two).toHaveLength(FRAMES);
    // Their headers name the same file.
    for (const [index, path] of two.slice(0, JOINT).entries())
      expect([path, readFileSync(path).equals(readFileSync(one[index] as string))]).toEqual([path, true]);
    expectSame(two, one);
  });

  test.each(further(['DPX', 'dpx-10'], ['a movie of RDD 36 4444', 'grading-master-4444']))(
    '%s: byte for byte that of the clip in one file',
    async (_, extended) => {
      const profile = profileOf(extended);
      const one = pictures(await mastered(await jobOf(folder, profile)));
      expect(pictures(await mastered(await spanned(of422, profile)))).toEqual(one);
      expect(one).toHaveLength(FRAMES);
    },
  );

  test('frames at the joint that are made without the neighbour beyond it are held', async () => {
    const each = (pad: string, trim: string): string =>
      `[${pad}]trim=${trim},setpts=PTS-STARTPTS,${BWDIF}[${pad}-made]`;
    const apart = `split=2[a][b];${each('a', `end_frame=${JOINT}`)};${each('b', `start_frame=${JOINT}`)};[a-made][b-made]concat`;
    expect(await heldFor(await spanned(of422, EXR), BWDIF, apart)).toContain('master-spot-check-differs');
  });
});

/** Matrices (ISO/IEC 14496-12, 6.2.2), and how oiiotool turns what lies so. */
type Row = readonly [name: string, matrix: Matrix, turn: readonly string[]];
const QUARTER = [0, 1, -1, 0] as const;
describe('lying otherwise than it is seen', () => {
  test.each<Row>([
    ['a quarter clockwise', QUARTER, ['--rotate90']],
    ...further<Row>(
      ['a quarter against the clock', [0, -1, 1, 0], ['--rotate270']],
      ['half a turn', [-1, 0, 0, -1], ['--rotate180']],
      ['a mirror', [-1, 0, 0, 1], ['--flop']],
      ['a mirror and a quarter', [0, -1, -1, 0], ['--flop', '--rotate90']],
    ),
  ])('%s: every pixel is that of the clip as it is coded, turned', async (_, matrix, turn) => {
    expectSame(await mastered(await turned(of422, matrix)), await codedOnce(), turn);
  });

  test.each(further(['around the joint', JOINT - 1], ['from the joint on', JOINT], ['up to it', JOINT - 3]))(
    'cut into two movies as well, of which frames are taken %s',
    async (_, start) => {
      const whole = await spanned(of422, EXR, QUARTER);
      const made = await mastered(await stretchOf(whole, EXR, start, 3));
      expectSame(made, (await codedOnce()).slice(start, start + 3), ['--rotate90']);
    },
  );

  test('turned before its fields are made whole: held', async () => {
    const whole = await woven(freshFolder('444'), 'yuv444p10le');
    const early = `transpose=dir=clock,${BWDIF},transpose=dir=cclock`;
    expect(await heldFor(await turned(whole, QUARTER), BWDIF, early)).toContain('master-spot-check-differs');
  });

  test.each(
    further(
      ['the other field first', BWDIF, BWDIF.replace('tff', 'bff'), 'fields-reversed'],
      [
        'turned the other way once they are whole',
        'transpose=dir=clock[turn-',
        'transpose=dir=cclock[turn-',
        'master-frames-not-as-decoded',
      ],
      [
        'turned the other way, and seen so',
        'transpose=dir=clock',
        'transpose=dir=cclock',
        'decode-other-clip',
      ],
    ),
  )('%s: held', async (_, from, to, code) => {
    expect(await heldFor(await turned(of422, QUARTER), from, to)).toContain(code);
  });

  test.each(further(['DPX', 'dpx-10'], ['a movie of RDD 36 4444', 'grading-master-4444']))(
    'a quarter clockwise, as %s: ready',
    async (_, extended) => {
      await mastered(await turned(of422, QUARTER, profileOf(extended)));
    },
  );
});
