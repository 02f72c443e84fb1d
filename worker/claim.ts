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

/** Files that the job reads together: those of the clip, and those of each sound roll. */
interface Read {
  readonly folder: string;
  readonly files: readonly string[];
  readonly bytes: number;
  readonly contentDigest: string;
  /** What verification saw; undefined: it does not say. */
  readonly source: string | undefined;
}

const readsOf = ({ rollFolder, clip, source, soundRolls = [] }: Job): Read[] => [
  {
    folder: rollFolder,
    files: filesOfPlace(clip.place),
    bytes: clip.bytes,
    contentDigest: clip.contentDigest,
    source,
  },
  ...soundRolls.map(
    (sound): Read => ({
      folder: sound.folder,
      files: sound.files.map(({ path }) => path),
      bytes: sound.files.reduce((sum, { bytes }) => sum + bytes, 0),
      contentDigest: sound.contentDigest,
      source: sound.source,
    }),
  ),
];

/** What the system says of the files now, of the clip and of sound rolls: their sizes and times. */
export async function sourceSeen(job: Job): Promise<string> {
  const seen: string[] = [];
  for (const { folder, files } of readsOf(job)) seen.push(await seenTogether(folder, files));
  return seen.join(' ');
}

/**
 * The files of the clip, and those of sound rolls, stand and have the bytes that intake read. What costs nothing is asked each time: size and times
 * of every file. Only where one of them is another one the bytes are read again, for rights that were changed change no byte. Bytes that a drive gives wrong without a word change no time: they
 * are not looked for here, which would be one more reading of every clip.
 */
export async function sourceFailure(job: Job): Promise<Finding | null> {
  for (const read of readsOf(job)) {
    const failure = await readFailure(read, subjectOf(job));
    if (failure !== null) return failure;
  }
  return null;
}

async function readFailure(read: Read, subject: FindingSubject): Promise<Finding | null> {
  const { folder, files, contentDigest: wanted } = read;
  let bytes = 0;
  for (const file of files) {
    const path = join(folder, file);
    try {
      bytes += (await stat(fsPath(path))).size;
    } catch (error) {
      return finding(
        'source-missing',
        (error as NodeJS.ErrnoException).code ?? String(error),
        'a file that can be read',
        { ...subject, file: path },
      );
    }
  }
  const of = (found: string, expected: string): Finding =>
    finding('source-changed', found, expected, { ...subject, file: join(folder, files[0] ?? '') });
  if (bytes !== read.bytes) return of(`${bytes} bytes`, `${read.bytes} bytes`);
  if (read.source === undefined || (await seenTogether(folder, files)) === read.source) return null;
  const digest = await digestNow(read);
  return digest === wanted
    ? null
    : of(digest === null ? 'it changes while it is read' : `content ${digest}`, `content ${wanted}`);
}

/** null: a file cannot be read, or somebody writes into it. */
async function digestNow({ folder, files: paths }: Read): Promise<string | null> {
  const files: { path: string; bytes: number; hashes: Record<string, string> }[] = [];
  for (const path of paths) {
    const read = await hashFile(join(folder, path), [CONTENT_ALGORITHM]);
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
