/**
 * Frames that change between decoder and threads: each way is put into a real run by a wrapper in ffmpeg's place, which alters what goes
 * through the pipe and leaves the decoder's own fingerprints alone. The frames that a spot check decodes again (0, 6, 11 and one more) are spared where one frame is altered.
 */
import { join } from 'node:path';
import { afterEach, beforeAll, describe, expect, test } from 'vitest';
import { readingVerdict } from '../../check/master/reading.ts';
import { packageFolder } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { storedFingerprints, storedSamples } from '../../ledger/fingerprints.ts';
import { runJob } from '../../worker/job.ts';
import { factsOf } from '../support/make.ts';
import { groupFolder, masterJob, reportOf } from '../support/master.ts';
import { makeMovie } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const profiles = ['grading-master-exr', 'dpx-10', 'grading-master-4444'];
const FRAMES = 12;
const wrapper = join(packageFolder, 'test', 'faults', 'ffmpeg-with-other-frames.mjs');
let roll: string;
let facts: Job['facts'];

const jobOf = (name: string, wanted = profiles): Promise<Job> =>
  masterJob(roll, groupFolder(name), { kind: 'movie', file: 'A001C001.mov' }, facts, wanted);

beforeAll(async () => {
  roll = groupFolder('decoded-roll');
  const path = join(roll, 'A001C001.mov');
  await makeMovie(path, {
    frames: FRAMES,
    rate: '24/1',
    size: '160x90',
    timecode: '10:00:00:00',
    codec: 'prores',
    audio: [2],
  });
  facts = await factsOf(path);
}, 120_000);

afterEach(() => {
  delete process.env.RUSHLIGHT_FRAMES_FILTER;
});

test('of a clip whose frames come as they were decoded every master says so, and its records say it again', async () => {
  const job = await jobOf('as-decoded');
  await runJob(job, await workContext());
  for (const profile of profiles) {
    const report = await reportOf(job, profile);
    const check = report.checks.find((one) => one.check === 'frames-as-decoded');
    expect(check).toMatchObject({ status: 'passed' });
    expect(check?.measured).toMatch(/^12 of 12 frames as decoded, 1 of them with chroma, at most 0\.0\d\d/);
    const subject = { roll: 'A001' };
    const reading =
      profile === 'grading-master-4444'
        ? (await storedFingerprints(report, job.deliveryFolder, subject)).fingerprints?.reading
        : (await storedSamples(report, job.deliveryFolder, subject)).points?.reading;
    const { linearisation } = report.outcome;
    if (linearisation === undefined) throw new Error('a master without its linearisation');
    expect(readingVerdict(linearisation, reading)?.measured).toBe(check?.measured);
    // Without what was read nothing is claimed.
    expect(readingVerdict(linearisation, undefined)).toBeNull();
  }
}, 240_000);

const faults: [what: string, filter: string, found: RegExp][] = [
  ['one black frame', "[a]lutyuv=y=64:u=512:v=512:enable='eq(n,7)'[b]", /^frame 7: \d+ averages differ/],
  ['one mirrored frame', "[a]hflip=enable='eq(n,7)'[b]", /^frame 7: /],
  [
    'one frame that is the one before',
    '[a]split[a1][a2];[a1][a2]freezeframes=first=7:last=7:replace=6[b]',
    /^frame 7: .*it is frame 6$/,
  ],
  [
    'frames 2 to 10 late by one',
    '[a]split=3[a1][a2][a3];[a1]trim=end_frame=2[h];[a2]trim=start_frame=1:end_frame=10,setpts=PTS-STARTPTS[m];[a3]trim=start_frame=11,setpts=PTS-STARTPTS[t];[h][m][t]concat=n=3[b]',
    /^frame 2: .*it is frame 1$/,
  ],
  ['one frame mixed with its neighbour', "[a]tmix=frames=2:weights='1 1':enable='eq(n,7)'[b]", /^frame 7: /],
  ['chroma moved by two samples', '[a]chromashift=cbh=2:crh=2[b]', /^frame 0: /],
  [
    'a block of another brightness',
    "[a]drawbox=x=52:y=31:w=16:h=16:color=gray:t=fill:enable='eq(n,7)'[b]",
    /^frame 7: /,
  ],
  ['one frame a little brighter', "[a]lutyuv=y='val*1.002':enable='eq(n,7)'[b]", /^frame 7: /],
];

describe.each(faults)('%s on the way to the threads', (_, filter, found) => {
  test('holds every master', async () => {
    process.env.RUSHLIGHT_FRAMES_FILTER = filter;
    const job = await jobOf('other-frames');
    const context = await workContext({ ffmpeg: wrapper });
    await expect(runJob(job, context)).rejects.toThrow('master-frames-not-as-decoded');
    for (const profile of profiles) {
      const report = await reportOf(job, profile);
      expect(report.state).toBe('failed');
      const [first] = report.findings.filter(({ code }) => code === 'master-frames-not-as-decoded');
      expect(first?.found, profile).toMatch(found);
    }
  }, 240_000);
});
