/** Log pictures made for displays of high dynamic range, as a job: published, and read back by programs of others. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { type Job, workOf } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { runJob } from '../../worker/job.ts';
import { groupFolder, interpretation } from '../support/master.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

/** The clip of the source as one of S-Log3, which nothing in the file says. */
async function logJob(source: string, delivery: string, ...wanted: string[]): Promise<Job> {
  const job = await jobFor(source, delivery);
  const facts = {
    ...job.facts,
    interpretation: { ...interpretation, input: { name: 'slog3-sgamut3cine' as const } },
  };
  const { profiles, findings } = await loadProfiles({ wanted });
  expect(findings).toEqual([]);
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: job.day, roll: job.roll, clip: job.clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { ...job, facts, deliverables };
}

const report = (job: Job, profile: string): { state: string; findings?: unknown[]; file: { path: string } } =>
  JSON.parse(readFileSync(join(job.deliveryFolder, 'reports', `${job.clip.id}.${profile}.json`), 'utf8'));

describe('a log clip', () => {
  let job: Job;
  beforeAll(async () => {
    const folder = groupFolder('hdr');
    const source = await makeMovie(join(folder, 'card', 'A001C001.mov'), { frames: 26, audio: [2] });
    job = await logJob(source, join(folder, 'delivery'), 'review-hlg');
    await runJob(job, await workContext());
  }, 120_000);

  test('is published', () => {
    expect(report(job, 'review-hlg')).toMatchObject({ state: 'published' });
  });
});
