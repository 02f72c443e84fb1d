/** Whether this worker may do this job now: the night still wants it, the programs are those it was planned with, the clip is as it was read. */
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { CONTENT_ALGORITHM, hashFile } from '../files/manifest/hash.ts';
import { seenTogether } from '../files/seen.ts';
import { filesOfPlace } from '../ledger/clip.ts';
import { contentDigest } from '../ledger/content-digest.ts';
import { type Finding, finding, type FindingSubject } from '../findings/finding.ts';
import { MACHINES_A_JOB_MAY_COST, WORKERS_A_JOB_MAY_COST } from '../ledger/attempts.ts';
import type { Job } from '../ledger/job.ts';
import { fsPath } from '../files/names.ts';

export function subjectOf(job: Job): FindingSubject {
  return { roll: job.roll, clip: job.clip.id };
}

export function toolchainFailure(job: Job, digest: string): Finding | null {
  return job.toolchain === digest
    ? null
    : finding('toolchain-differs', digest, job.toolchain, subjectOf(job));
}

/** A job at which worker after worker is lost would take all of them with it. */
export function workerTrouble(job: Job, workersLost: number, machinesLost = 0): Finding | null {
  return workersLost < WORKERS_A_JOB_MAY_COST && machinesLost < MACHINES_A_JOB_MAY_COST
    ? null
    : finding(
        'job-ends-workers',
        `${workersLost} workers ${machinesLost > 1 ? `on ${machinesLost} machines ` : ''}died while they worked on it`,
        'a job that a worker survives',
        subjectOf(job),
      );
}

/** What the system says of the clip's files now: their sizes and times. */
export function sourceSeen({ rollFolder, clip }: Job): Promise<string> {
  return seenTogether(rollFolder, filesOfPlace(clip.place));
}

/**
 * The clip's files stand and have the bytes that intake read. What costs nothing is asked each time: size and times
 * of every file. Only where one of them is another one the bytes are read again, for rights that were changed change no byte. Bytes that a drive gives wrong without a word change no time: they
 * are not looked for here, which would be one more reading of every clip.
 */
export async function sourceFailure(job: Job): Promise<Finding | null> {
  let bytes = 0;
  for (const file of filesOfPlace(job.clip.place)) {
    const path = join(job.rollFolder, file);
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
  if (bytes !== job.clip.bytes)
    return finding('source-changed', `${bytes} bytes`, `${job.clip.bytes} bytes`, subjectOf(job));
  if (job.source === undefined || (await sourceSeen(job)) === job.source) return null;
  const digest = await digestNow(job);
  return digest === job.clip.contentDigest
    ? null
    : finding(
        'source-changed',
        digest === null ? 'it changes while it is read' : `content ${digest}`,
        `content ${job.clip.contentDigest}`,
        subjectOf(job),
      );
}

/** null: a file cannot be read, or somebody writes into it. */
async function digestNow({ rollFolder, clip }: Job): Promise<string | null> {
  const files: { path: string; bytes: number; hashes: Record<string, string> }[] = [];
  for (const path of filesOfPlace(clip.place)) {
    const read = await hashFile(join(rollFolder, path), [CONTENT_ALGORITHM]);
    if (read.state !== 'read') return null;
    files.push({ path, bytes: read.bytes, hashes: read.hashes as Record<string, string> });
  }
  return contentDigest(files);
}

/** After the decode: the clip is still what it was before. Changed and changed back, it is decoded once more. */
export async function decodedFailure(
  job: Job,
  before: string,
): Promise<{ findings: Finding[]; retryable: boolean } | null> {
  const changed = await sourceFailure(job);
  if (changed !== null) return { findings: [changed], retryable: false };
  return (await sourceSeen(job)) === before
    ? null
    : {
        findings: [
          finding(
            'source-changed',
            'sizes or times changed while it was decoded',
            'a clip that nobody writes to',
            subjectOf(job),
          ),
        ],
        retryable: true,
      };
}
