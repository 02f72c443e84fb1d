/** Whether this worker may do this job now: the night still wants it, the programs are those it was planned with, the clip is as it was read. */
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { type Finding, finding, type FindingSubject } from '../findings/finding.ts';
import { WORKERS_A_JOB_MAY_COST } from '../ledger/attempts.ts';
import type { Job } from '../ledger/job.ts';
import { frameName } from '../media/input.ts';
import { fsPath } from '../files/names.ts';

export function subjectOf(job: Job): FindingSubject {
  return { roll: job.roll, clip: job.clip.id };
}

export function toolchainFailure(job: Job, digest: string): Finding | null {
  return job.toolchain === digest
    ? null
    : finding('toolchain-differs', digest, job.toolchain, subjectOf(job));
}

function filesOf(job: Job): string[] {
  const { place } = job.clip;
  if (place.kind === 'movie') return [join(job.rollFolder, place.file)];
  return Array.from({ length: place.count }, (_, index) =>
    join(job.rollFolder, place.folder, frameName(place, place.first + index)),
  );
}

/** A job at which worker after worker is lost would take all of them with it. */
export function workerTrouble(job: Job, workersLost: number): Finding | null {
  return workersLost < WORKERS_A_JOB_MAY_COST
    ? null
    : finding(
        'job-ends-workers',
        `${workersLost} workers died while they worked on it`,
        'a job that a worker survives',
        subjectOf(job),
      );
}

/** The clip's files stand and have the bytes that intake read. Their content was read by intake; its checksum is not read again for every job. */
export async function sourceFailure(job: Job): Promise<Finding | null> {
  let bytes = 0;
  for (const path of filesOf(job)) {
    try {
      bytes += (await stat(fsPath(path))).size;
    } catch (error) {
      return finding(
        'source-missing',
        (error as NodeJS.ErrnoException).code ?? String(error),
        'a file that can be read',
        { ...subjectOf(job), file: path },
      );
    }
  }
  return bytes === job.clip.bytes
    ? null
    : finding('source-changed', `${bytes} bytes`, `${job.clip.bytes} bytes`, subjectOf(job));
}
