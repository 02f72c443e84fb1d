/** Masters of a stretch of a clip: each frame is, byte for byte, that of the master of the whole clip, under the same name. */
import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { surveyClip } from '../../coordinator/survey/index.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { mastersOf } from '../support/jobs.ts';
import { further } from '../support/lane.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import { reportOf } from '../support/master.ts';
import { type ClipOnDisk, masterJob, rawClip, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const START = 5;
const COUNT = 4;
const FRAMES = 12;
const EXR = 'grading-master-exr';
const bt709 = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';
const moving = ['-f', 'lavfi', '-i', 'testsrc2=s=96x54:r=24:d=2,noise=alls=8:allf=t'];

async function stretched(job: Job, profile: string, start = START): Promise<Job> {
  const clip = {
    ...job.clip,
    id: `A001C001.${start}-${start + COUNT - 1}`,
    stretch: { start, frames: COUNT, day: job.day },
  };
  const { profiles } = await loadProfiles({ wanted: [profile] });
  return {
    ...job,
    clip,
    span: { start, count: COUNT },
    deliverables: profiles.map((loaded) => {
      const decided = decideOutcome({ ...job, clip, profile: loaded.profile });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return workOf(loaded.profile, loaded.hash, decided.outcome);
    }),
  };
}

const frames = (job: Job): Map<string, Buffer> => {
  const [work] = mastersOf(job);
  const folder = join(job.deliveryFolder, work?.profile.name ?? '', work?.outcome.fileName ?? '');
  return new Map(
    readdirSync(folder)
      .filter((name) => /\.(?:exr|dpx)$/.test(name))
      .sort()
      .map((name) => [name, readFileSync(join(folder, name))]),
  );
};

async function compared(clip: ClipOnDisk, profile = EXR, start = START): Promise<readonly string[]> {
  const whole = await masterJob(clip, freshFolder('delivery'), [profile]);
  const part = await stretched(whole, profile, start);
  await runJob(whole, await workContext());
  await runJob(part, await workContext());
  const name = mastersOf(whole)[0]?.profile.name ?? '';
  for (const job of [whole, part]) {
    const report = await reportOf(job, name);
    expect([report.state, report.checks.filter(({ status }) => status !== 'passed')]).toEqual([
      'published',
      [],
    ]);
  }
  const [all, some] = [frames(whole), frames(part)];
  expect([...some.keys()]).toEqual([...all.keys()].slice(start, start + COUNT));
  for (const [file, bytes] of some)
    expect([file, bytes.equals(all.get(file) as Buffer)]).toEqual([file, true]);
  return [...some.keys()];
}

const movie = async (name: string, options: readonly string[], input = moving): Promise<ClipOnDisk> => {
  const path = join(freshFolder('movie'), name);
  await ffmpeg(...input, '-frames:v', String(FRAMES), ...options, path);
  return {
    rollFolder: dirname(path),
    place: { kind: 'movie', file: basename(path) },
    facts: await factsOf(path),
  };
};

test('raw frames: no other frame is opened', async () => {
  const clip = await rawClip(freshFolder('raw'), { width: 64, height: 32, frames: FRAMES }, (frame) => ({
    timecode: `23:59:59:${String(12 + frame).padStart(2, '0')}`,
  }));
  expect(await compared(clip)).toEqual(
    // 23:59:59:17 is label 2 073 593 at base 24.
    [2_073_593, 2_073_594, 2_073_595, 2_073_596].map((number) => `A001C001.${number}.exr`),
  );
});

const LONG_GOP = ['-vf', bt709, '-c:v', 'libx264', '-preset', 'ultrafast', '-bf', '2', '-g', '250'];
test('a movie of long groups of pictures, whose frames are counted', async () => {
  const clip = await movie('A001C001.mov', [
    ...LONG_GOP,
    ...['-pix_fmt', 'yuv420p', '-timecode', '01:00:00:00'],
  ]);
  expect(await compared(clip)).toEqual(
    [86_405, 86_406, 86_407, 86_408].map((number) => `A001C001.00${number}.exr`),
  );
});

test('numbered frames that ffmpeg decodes, as DPX: position and length are those of the clip', async () => {
  const folder = freshFolder('frames');
  mkdirSync(join(folder, 'A001C001'));
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=96x54:r=24:d=2,format=gbrp', '-frames:v', String(FRAMES)],
    ...['-start_number', '1001', '-pix_fmt', 'gbrp10be', join(folder, 'A001C001', 'A001C001.%05d.dpx')],
  );
  const clip = await sequenceClip(folder, {
    ...{ kind: 'sequence', folder: 'A001C001', prefix: 'A001C001.', suffix: '.dpx', padding: 5 },
    ...{ first: 1001, count: FRAMES, statedRate: { num: 24, den: 1 } },
  });
  await compared(clip, 'dpx-10');
});

describe.each([
  ['over a joint', 6],
  ...further<[string, number]>(['behind it', 8], ['to the end of the first part', 4]),
])('a recording in two files, %s', (_, start) => {
  test('is one clip', async () => {
    const folder = freshFolder('spanned');
    const files = ['A001C001.mov', 'A001C001_1.mov'];
    await ffmpeg(
      ...moving,
      '-filter_complex',
      `[0:v]${bt709},split=2[a][b];[a]trim=end_frame=8[first];[b]trim=start_frame=8:end_frame=${FRAMES},setpts=PTS-STARTPTS[second]`,
      ...files.flatMap((file, part) => [
        ...['-map', part === 0 ? '[first]' : '[second]', ...['-c:v', 'libx264', '-preset', 'ultrafast']],
        ...['-bf', '2', '-pix_fmt', 'yuv420p', '-timecode', part === 0 ? '01:00:00:00' : '01:00:00:08'],
        join(folder, file),
      ]),
    );
    const place = {
      kind: 'spanned' as const,
      parts: files.map((file) => ({ file, bytes: 1, checksum: 'md5:0' })),
      namedBy: 'suffix',
      continuesBy: 'timecode' as const,
    };
    const clip = { id: 'A001C001', name: 'A001C001', place, bytes: 1, contentDigest: 'aa' };
    const { facts, findings } = await surveyClip(clip, folder, await mediaTools());
    if (facts === null) throw new Error(JSON.stringify(findings));
    await compared({ rollFolder: folder, place, facts }, EXR, start);
  });
});

test('frames made of fields are made of their neighbours outside of the stretch too', async () => {
  const clip = await movie(
    'A001C001.mov',
    [
      ...['-vf', `${bt709},setfield=tff`, '-c:v', 'prores_ks', '-profile:v', '3', '-pix_fmt', 'yuv422p10le'],
      ...['-flags', '+ildct', '-timecode', '01:00:00:00'],
    ],
    ['-f', 'lavfi', '-i', 'testsrc2=s=96x54:r=50:d=2,noise=alls=8:allf=t,tinterlace=interleave_top'],
  );
  expect(clip.facts.video.fieldOrder).toBe('top-first');
  await compared(clip, 'test/fixtures/profiles/fields-exr.yaml');
});
