/** Long clips in segments: what is joined is the file that is made whole, byte by byte, and nothing else passes for it. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema, type DeliverableReport } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { segmentsOf } from '../../profiles/segments.ts';
import { runJob } from '../../worker/job.ts';
import { sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

const FRAMES = 97;

async function reportOf(job: Job, profile: string): Promise<DeliverableReport> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, profile),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(`no report of ${profile}: ${read.state}`);
  return read.value;
}

/** The jobs of a clip that is cut: its segments, and the one that joins them. */
function cutJobs(job: Job, of: number): { readonly segments: Job[]; readonly join: Job } {
  return {
    segments: segmentsOf(job.facts.video.frames, of).map(({ start, frames }, segment) => ({
      ...job,
      segments: of,
      segment,
      span: { start, count: frames },
    })),
    join: { ...job, segments: of },
  };
}

describe('a clip in segments', () => {
  let whole: Job;
  let source: string;
  beforeAll(async () => {
    const folder = join(sharedFolder, 'segments');
    source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: FRAMES });
    whole = await jobFor(source, join(folder, 'whole'), ['test/fixtures/profiles/small-vc3.yaml']);
    await runJob(whole, await workContext());
  });

  test('joins to the very file that is made whole, with the same fingerprints', async () => {
    const job = await jobFor(source, join(sharedFolder, 'segments', 'joined'), [
      'test/fixtures/profiles/small-vc3.yaml',
    ]);
    const { segments, join: joining } = cutJobs(job, 3);
    for (const segment of segments) await runJob(segment, await workContext());
    await runJob(joining, await workContext());
    const [one, other] = [await reportOf(whole, 'small-vc3'), await reportOf(job, 'small-vc3')];
    expect(other.state).toBe('published');
    const file = (of: Job): Buffer => readFileSync(join(of.deliveryFolder, 'small-vc3', 'A001C001.mov'));
    expect(file(job).equals(file(whole))).toBe(true);
    expect(other.fingerprints?.sha256).toBe(one.fingerprints?.sha256);
    expect(other.errorSketch?.sha256).toBe(one.errorSketch?.sha256);
    expect(other.bitstream).toEqual(one.bitstream);
    expect(other.checks.map(({ name, status }) => [name, status])).toEqual(
      one.checks.map(({ name, status }) => [name, status]),
    );
  });
});
