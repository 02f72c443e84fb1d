/** Room on the target that is spoken for: jobs that are planned and not made yet. */
import { existsSync } from 'node:fs';
import { statfs } from 'node:fs/promises';
import { dirname } from 'node:path';
import { type Job, jobKey, type NamedJob } from '../../ledger/job.ts';
import { withMargin } from '../plan/margin.ts';
import type { PlannedJob, VolumeToPlan } from '../plan/index.ts';
import { unmadeBytes } from '../plan/room.ts';

/** What this user may still write, asked of the nearest folder that exists. */
export async function roomOn(folder: string): Promise<{ freeBytes: number; freeFiles: number | null }> {
  let place = folder;
  while (!existsSync(place) && dirname(place) !== place) place = dirname(place);
  const space = await statfs(place);
  // bavail, not bfree: what is kept for the system is not ours. Some file systems know no limit of files and say 0 of 0.
  return { freeBytes: space.bavail * space.bsize, freeFiles: space.files === 0 ? null : space.ffree };
}

export interface Reservation {
  take(jobs: readonly Pick<PlannedJob, 'job' | 'segments' | 'lying'>[]): void;
  release(job: NamedJob): void;
  /** What is free beside what is spoken for. */
  left(): Promise<Omit<VolumeToPlan, 'name'>>;
  /** Estimated bytes of the largest job that is still to be made, a tenth more. */
  largest(): number;
}

const bytesOf = (job: Job): number =>
  job.deliverables.reduce((sum, { outcome }) => sum + outcome.estimatedBytes, 0);

export function freshReservation(delivery: string): Reservation {
  const open = new Map<string, number>();
  const key = (job: NamedJob): string => JSON.stringify([job.roll, jobKey(job)]);
  return {
    take: (jobs) => {
      // In segments and joined it lies there twice.
      for (const { job, segments, lying } of jobs) {
        const bytes = bytesOf(job);
        open.set(key(job), bytes + (segments > 1 ? unmadeBytes(bytes, lying) : 0));
      }
    },
    release: (job) => void open.delete(key(job)),
    left: async () => {
      const { freeBytes, freeFiles } = await roomOn(delivery);
      const taken = [...open.values()].reduce((sum, bytes) => sum + bytes, 0);
      return { freeBytes: Math.max(0, freeBytes - withMargin(taken)), freeFiles };
    },
    largest: () => withMargin([...open.values()].reduce((most, bytes) => Math.max(most, bytes), 0)),
  };
}
