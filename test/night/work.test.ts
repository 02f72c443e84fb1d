/** What the run keeps of a job, against the job itself. */
import { expect, test } from 'vitest';
import { expectedOf } from '../../coordinator/night/complete.ts';
import { Works } from '../../coordinator/night/work.ts';
import { needOf } from '../../ledger/farm.ts';
import { partsOf } from '../../ledger/job-parts.ts';
import { jobOf } from '../support/jobs.ts';

test('ticket, need and what is expected come back as they were, whatever other jobs are kept beside', () => {
  const works = new Works();
  const jobs = [
    jobOf(1, 'run', ['cut']),
    jobOf(2, 'run', ['cut', 'look']),
    { ...jobOf(3, 'run', ['look']), roll: 'B001', span: { start: 12, count: 7 } },
    { ...jobOf(3, 'run', ['look']), roll: 'B001', wave: 'masters' as const },
    { ...jobOf(4, 'run'), clip: { ...jobOf(4, 'run').clip, name: 'another name' } },
  ];
  const kept = jobs.map((job, place) => works.add(job, place, 60 + place));
  for (const [place, job] of jobs.entries()) {
    const one = kept[place];
    expect(one?.parts).toEqual(partsOf(job).parts);
    expect(one?.work.ticket).toEqual(partsOf(job).ticket);
    expect(one?.work.expected).toEqual(expectedOf(job));
    expect(one?.work.need).toEqual(needOf(job));
    expect([one?.work.place, one?.work.seconds]).toEqual([place, 60 + place]);
    expect(one?.work.wave).toBe(job.wave);
  }
});
