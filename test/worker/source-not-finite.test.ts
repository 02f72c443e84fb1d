/** NaN and infinities of a source: no master is made of them, and the words say which, how many and where. */
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { type ExrOptions, exrFrame } from '../support/exr.ts';
import { freshFolder } from '../support/folder.ts';
import { interpretation, reportOf } from '../support/master.ts';
import { masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const [WIDTH, HEIGHT, FRAMES] = [21, 18, 3];
/** IEEE 754 binary16: a quiet NaN, both infinities, the greatest finite value, 0.5. */
const [NAN, PLUS, MINUS, MOST, HALF] = [0x7e00, 0x7c00, 0xfc00, 0x7bff, 0x3800];

/** `at`: bits of the second and third frame; the first is grey throughout. */
async function jobOf(
  at: NonNullable<ExrOptions['bitsAt']>,
  channels: ExrOptions['channels'],
  profile = 'grading-master-exr',
): Promise<Job> {
  const folder = freshFolder('frames');
  mkdirSync(join(folder, 'A001C001'));
  for (let frame = 0; frame < FRAMES; frame += 1)
    writeFileSync(
      join(folder, 'A001C001', `A001C001.${1001 + frame}.exr`),
      exrFrame({
        width: WIDTH,
        height: HEIGHT,
        ...(channels === undefined ? {} : { channels }),
        bitsAt: frame === 0 ? () => HALF : at,
      }),
    );
  const clip = await sequenceClip(folder, numberedFrames('.exr', { padding: 4, count: FRAMES }));
  return await masterJob(clip, freshFolder('delivery'), [profile], {
    ...interpretation,
    input: { name: 'aces2065-1' },
  });
}

async function failureOf(job: Job): Promise<JobFailure> {
  const error = await runJob(job, await workContext()).then(
    () => null,
    (thrown: unknown) => thrown,
  );
  if (!(error instanceof JobFailure)) throw new Error(`ended with ${String(error)}`);
  return error;
}

test.each(['grading-master-exr', 'test/fixtures/profiles/native-rdd36.yaml'])(
  'hold the clip, by channel, count and first frame, and nothing is published: %s',
  async (profile) => {
    const job = await jobOf(
      (channel, x, y) => {
        if (channel === 'R' && y === 3 && x < 3) return NAN;
        if (channel === 'B' && y === HEIGHT - 1 && x >= WIDTH - 2) return x === WIDTH - 1 ? PLUS : MINUS;
        return HALF;
      },
      undefined,
      profile,
    );
    const failure = await failureOf(job);
    expect(failure.findings.map(({ code, found }) => [code, found])).toEqual([
      [
        'source-not-finite',
        'R: 6 NaN, the first in A001C001.1002.exr; B: 4 infinite, the first in A001C001.1002.exr',
      ],
    ]);
    const name = job.deliverables[0]?.profile.name ?? '';
    for (const made of ['A001C001', 'A001C001.mov'])
      expect(existsSync(join(job.deliveryFolder, name, made))).toBe(false);
  },
);

test('of luminance alone are counted once', async () => {
  const job = await jobOf((_channel, x, y) => (x === 0 && y === 0 ? NAN : HALF), [{ name: 'Y' }]);
  expect((await failureOf(job)).findings[0]?.found).toBe('Y: 2 NaN, the first in A001C001.1002.exr');
});

test('of channels that no master has are nobody’s business', async () => {
  const job = await jobOf(
    (channel) => (channel === 'A' || channel === 'ladle.R' ? NAN : HALF),
    ['R', 'G', 'B', 'A', 'ladle.R'].map((name) => ({ name })),
  );
  await runJob(job, await workContext());
  expect((await reportOf(job, 'grading-master-exr')).state).toBe('published');
});

test('the greatest and the least finite values are none', async () => {
  const job = await jobOf((_channel, x) => (x % 2 === 0 ? MOST : MOST | 0x8000), undefined);
  await runJob(job, await workContext());
  expect(await reportOf(job, 'grading-master-exr')).toMatchObject({ state: 'published', findings: [] });
});
