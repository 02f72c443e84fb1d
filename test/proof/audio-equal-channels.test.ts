/** Channels that hold one and the same audio: what a coder loses of one of them is no exchange of channels. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';
import { type Delivery, deliverEach, signals } from './audio-support.ts';

/** Of the first channel more is lost than a coder loses; the others are as they were. */
const worse = 'aeval=exprs=val(0)+0.2*(random(0)-0.5)|val(1)|val(2):c=same';

test('noise in one of three equal channels is noise, and not another channel', async () => {
  const samples = 3 * 48000;
  const options: Delivery = {
    sourceSamples: samples,
    samples,
    codec: 'aac',
    container: 'mp4',
    channels: 3,
    signal: signals.speech,
    spoil: worse,
  };
  const [made] = await deliverEach(freshFolder('equal'), [options]);
  const differences = made?.comparison.differences ?? [];
  expect(differences.map(({ kind }) => kind)).not.toContain('channels-swapped');
  // And it is held for what it is.
  expect(differences.map(({ channel }) => channel)).toContain(0);
});

describe('ten frames at 60 frames a second with three equal channels in AAC are ready', () => {
  test.each(['60', '60000/1001'])('%s', async (rate) => {
    const folder = freshFolder('equal-clip');
    const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), {
      rate,
      frames: 10,
      size: '320x180',
      codec: 'h264',
      audio: [3],
      extra: ['-af', 'pan=3.0|c0=c0|c1=c0|c2=c0,atrim=end_sample=8000'],
    });
    const job = await jobFor(source, folder, ['test/fixtures/profiles/small-h264.yaml']);
    const findings: string[] = [];
    try {
      await runJob(job, await workContext());
    } catch (error) {
      if (!(error instanceof JobFailure)) throw error;
      findings.push(...error.findings.map(({ code, found }) => `${code}: ${found}`));
    }
    expect(findings).toEqual([]);
  });
});
