/** How jobs are put into transactions of the queue. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { CHILDREN_A_PARENT, flowsOf, JOB_BYTES_LIMIT, jobBytes } from '../../coordinator/dispatch/flow.ts';
import type { Job } from '../../ledger/job.ts';
import { jobOf } from '../support/jobs.ts';

const sized = (number: number, bytes: number): Job => {
  const job = jobOf(number, 'run-1');
  return { ...job, facts: { ...job.facts, metadata: { ...job.facts.metadata, table: 'x'.repeat(bytes) } } };
};

test('every job is queued once, in order, and no transaction holds more jobs or bytes than it may', () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 0, max: 900_000 }), { minLength: 1, maxLength: 80 }), (sizes) => {
      const jobs = sizes.map((bytes, index) => ({
        id: `run-1.j${index}.q1`,
        queue: 'jobs',
        job: sized(index, bytes),
        priority: index + 1,
      }));
      const flows = flowsOf('run-1', 'A001', jobs, '1');
      expect(flows.flatMap((flow) => flow.children?.map((child) => child.opts?.jobId))).toEqual(
        jobs.map(({ id }) => id),
      );
      for (const { children = [] } of flows) {
        expect(children.length).toBeLessThanOrEqual(CHILDREN_A_PARENT);
        expect(children.reduce((sum, child) => sum + jobBytes(child.data as Job), 0)).toBeLessThanOrEqual(
          32 * 1024 * 1024,
        );
      }
      expect(new Set(flows.map((flow) => flow.opts?.jobId)).size).toBe(flows.length);
    }),
    { numRuns: 10 },
  );
});

test('a raw clip with a linearisation table for every 16-bit code and a black level for every column fits into a job', () => {
  const table = Array.from({ length: 65_536 }, (_, code) => code);
  const deltas = Array.from({ length: 4096 }, (_, column) => column / 1024);
  expect(
    jobBytes({ ...jobOf(1, 'run-1'), raw: { linearisation: table, columnDeltas: deltas } } as Job),
  ).toBeLessThan(JOB_BYTES_LIMIT);
});
