/**
 * Frames that change between decoder and threads: each way is put into a real run by a wrapper in ffmpeg's place, which alters what goes
 * through the pipe and leaves the decoder's own fingerprints alone. The frames that a spot check decodes again (0, 6, 11 and one more) are spared where one frame is altered.
 */
import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeAll, expect, test } from 'vitest';
import { checkMaster } from '../../check/master/index.ts';
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { readingVerdict } from '../../check/master/reading.ts';
import { packageFolder } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { storedFingerprints, storedSamples } from '../../ledger/fingerprints.ts';
import { readTransform } from '../../ledger/transform.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import { pointsOf } from '../../proof/pixel-samples.ts';
import { runJob } from '../../worker/job.ts';
import { mastersOf } from '../support/jobs.ts';
import { everyRow, further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { groupFolder, masterJob, reportOf } from '../support/master.ts';
import { makeMovie } from '../support/media.ts';
import { workContext } from '../support/work.ts';

const profiles = ['grading-master-exr', 'dpx-10', 'grading-master-4444'];
const FRAMES = 12;
const program = join(packageFolder, 'test', 'faults', 'ffmpeg-with-other-frames.mjs');
/** Of all commands the one alone that gives frames to the threads starts Node. */
let wrapper: string;
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
  wrapper = join(groupFolder('wrapper'), 'ffmpeg');
  writeFileSync(
    wrapper,
    `#!/bin/sh\ncase "$*" in *'[frames]'*) exec '${process.execPath}' '${program}' "$@" ;; esac\nexec ffmpeg "$@"\n`,
    { mode: 0o755 },
  );
}, 120_000);

afterEach(() => {
  delete process.env.RUSHLIGHT_FRAMES_FILTER;
});

let whole: Job;
beforeAll(async () => {
  whole = await jobOf('as-decoded');
  await runJob(whole, await workContext());
}, 240_000);

test('of a clip whose frames come as they were decoded every master says so, and its records say it again', async () => {
  const job = whole;
  for (const profile of profiles) {
    const report = await reportOf(job, profile);
    const check = report.checks.find((one) => one.check === 'frames-as-decoded');
    expect(check).toMatchObject({ status: 'passed' });
    expect(check?.measured).toMatch(/^12 of 12 frames as decoded, 12 of them with chroma, at most 0\.0\d\d/);
    const subject = { roll: 'A001' };
    const reading =
      profile === 'grading-master-4444'
        ? (await storedFingerprints(report, job.deliveryFolder, subject)).fingerprints?.reading
        : (await storedSamples(report, job.deliveryFolder, subject)).points?.reading;
    const { linearisation, width, height } = report.outcome;
    if (linearisation === null) throw new Error('a master without its linearisation');
    expect(readingVerdict({ linearisation, width, height }, reading)?.measured).toBe(check?.measured);
    // Without what was read nothing is claimed.
    expect(readingVerdict({ linearisation, width, height }, undefined)).toBeNull();
  }
}, 240_000);

test('a block of a frame on disk that lies between all sampled pixels is found, in its region', async () => {
  const job = { ...whole, deliveryFolder: join(groupFolder('block'), whole.day, whole.roll) };
  cpSync(whole.deliveryFolder, job.deliveryFolder, { recursive: true });
  const report = await reportOf(job, 'dpx-10');
  const work = mastersOf(job).find(({ profile }) => profile.name === 'dpx-10');
  if (work === undefined) throw new Error('no master');
  const { outcome } = work;
  const folder = join(job.deliveryFolder, 'dpx-10', outcome.fileName);
  const stored = await storedSamples(report, job.deliveryFolder, {});
  const sceneLinear = sceneLinearOf(
    outcome.linearisation,
    await readTransform(job.deliveryFolder, outcome.linearisation),
  );
  const check = () =>
    checkMaster({
      path: folder,
      rollFolder: job.deliveryFolder,
      outcome,
      sourceFacts: job.facts,
      points: stored.points,
      sceneLinear,
      written: null,
    });
  const frame = 7;
  const path = join(folder, frameFileName(outcome, frame));
  const bytes = readFileSync(path);
  const points = pointsOf(frame, outcome.width, outcome.height);
  const side = 4;
  const free = (x: number, y: number): boolean =>
    !points.some((point) => point.x >= x && point.x < x + side && point.y >= y && point.y < y + side);
  const at = Array.from({ length: 60 }, (_, x) => 30 + x).find((x) => free(x, 41)) as number;
  // 10-bit R, G, B in a word, big-endian, behind a header of 2048 bytes (SMPTE ST 268-1): green is one code up.
  for (let y = 41; y < 41 + side; y += 1)
    for (let x = at; x < at + side; x += 1) {
      const place = 2048 + 4 * (y * outcome.width + x);
      bytes.writeUInt32BE((bytes.readUInt32BE(place) ^ (1 << 12)) >>> 0, place);
    }
  writeFileSync(path, bytes);
  const { results } = await check();
  const of = (name: string) => results.find((one) => one.check === name);
  expect(of('pixel-values')?.status).toBe('passed');
  expect(of('structure')?.status).toBe('passed');
  expect(of('whole-frames')).toMatchObject({ status: 'failed' });
  expect(of('whole-frames')?.measured).toMatch(/^11 of 12 frames equal in every region/);
}, 240_000);

const faults: [what: string, filter: string, found: RegExp][] = [
  ['one frame a little brighter', "[a]lutyuv=y='val*1.002':enable='eq(n,7)'[b]", /^frame 7: /],
  [
    'one frame repeated and those behind it late by one',
    '[a]split=3[a1][a2][a3];[a1]trim=end_frame=2[h];[a2]trim=start_frame=1:end_frame=10,setpts=PTS-STARTPTS[m];[a3]trim=start_frame=11,setpts=PTS-STARTPTS[t];[h][m][t]concat=n=3[b]',
    /^frame 2: .*it is frame 1$/,
  ],
  ...further<[what: string, filter: string, found: RegExp]>(
    ['one black frame', "[a]lutyuv=y=64:u=512:v=512:enable='eq(n,7)'[b]", /^frame 7: \d+ averages differ/],
    ['one mirrored frame', "[a]hflip=enable='eq(n,7)'[b]", /^frame 7: /],
    ['chroma moved by two samples', '[a]chromashift=cbh=2:crh=2[b]', /^frame 0: /],
  ),
];

/** The threads read one pipe whatever they make of it: the first fault is looked for in every master, and in the long lane each. */
test.each(faults.map((fault, index) => [...fault, index === 0 || everyRow ? profiles : ['dpx-10']] as const))(
  '%s on the way to the threads holds every master',
  async (_, filter, found, wanted) => {
    process.env.RUSHLIGHT_FRAMES_FILTER = filter;
    const job = await jobOf('other-frames', [...wanted]);
    const context = await workContext({ ffmpeg: wrapper });
    await expect(runJob(job, context)).rejects.toThrow('master-frames-not-as-decoded');
    for (const profile of wanted) {
      const report = await reportOf(job, profile);
      expect(report.state).toBe('failed');
      const [first] = report.findings.filter(({ code }) => code === 'master-frames-not-as-decoded');
      expect(first?.found, profile).toMatch(found);
    }
  },
  240_000,
);
