/** Raw frames whose tags say how fast they were recorded, beside a project of another rate: every frame is played at that, and the master says both. exrheader is OpenEXR's own. */
import { execFileSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { formatRatio, parseRate } from '../../media/time/rate.ts';
import { isMasterWork } from '../../ledger/job.ts';
import { runJob } from '../../worker/job.ts';
import { gateVerdict } from '../campaign/run-case.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { masterJob, rawClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const FRAMES = 3;
const two = (value: number): string => String(value).padStart(2, '0');

interface Row {
  /** FrameRate (CinemaDNG, tag 51044), and the frame field of the first label (TimeCodes, 51043). */
  readonly rate: readonly [number, number];
  readonly first: number;
  readonly project: string;
  readonly slower: string;
  readonly captured: string;
  /** Of the first frame of the master. */
  readonly label: string;
}

test.each<readonly [string, Row]>([
  [
    'recorded at 12 for 24: twice as fast',
    { rate: [12, 1], first: 5, project: '24', slower: '1/2', captured: '12/1 (12)', label: '01:00:00:10' },
  ],
  ...further<readonly [string, Row]>([
    'recorded at 48 for 24, labels of 48: twice as slow',
    { rate: [48, 1], first: 30, project: '24', slower: '2', captured: '48/1 (48)', label: '01:00:00:15' },
  ]),
])('%s', async (_title, { rate, first, project, slower, captured, label }) => {
  const clip = await rawClip(freshFolder('raw'), { width: 64, height: 48, frames: FRAMES }, (frame) => ({
    rate,
    timecode: `01:00:00:${two(first + frame)}`,
  }));
  expect(formatRatio(clip.facts.video.rate)).toBe(formatRatio(parseRate(`${rate[0]}/${rate[1]}`)));
  const timing = { projectRate: parseRate(project), offSpeed: 'project-rate' as const };
  const job = await masterJob({ ...clip, facts: { ...clip.facts, timing } }, freshFolder('delivery'), [
    'grading-master-exr',
  ]);
  await runJob(job, await workContext());
  expect((await gateVerdict(job)).verdict).toBe('ready');
  const [work] = job.deliverables;
  if (work === undefined || !isMasterWork(work)) throw new Error('no master');
  const { outcome } = work;
  expect(formatRatio(outcome.cadence.offSpeed?.slower ?? parseRate('1'))).toBe(slower);
  const folder = join(job.deliveryFolder, 'grading-master-exr', outcome.fileName);
  const frames = readdirSync(folder)
    .filter((name) => name.endsWith('.exr'))
    .sort();
  expect(frames).toHaveLength(FRAMES);
  const said = execFileSync('exrheader', [join(folder, frames[0] as string)], { encoding: 'utf8' });
  expect(said).toContain(`framesPerSecond (type rational): ${project}/1 (${project})`);
  expect(said).toContain(`captureRate (type rational): ${captured}`);
  expect(said).toMatch(new RegExp(`timeCode[^]*?time ${label}`));
});
