/** Masters of a clip that ffmpeg does not decode: raw frames, and pictures of a declared decoder. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { printable } from '../../files/names.ts';
import { type ErrorCode, errorCodeOf } from '../../files/coded-error.ts';
import { decodedFailure, subjectOf } from '../claim.ts';
import type { Failure } from '../classify.ts';
import { JobFailure, progressOf } from '../context.ts';
import type { JobRun } from '../job-run.ts';
import { developmentText } from './attributes.ts';
import { feedDeclared } from './declared.ts';
import { hearSounds } from '../sound.ts';
import { readingOf } from '../stretch.ts';
import { finishMasters } from './publish-master.ts';
import { developedOf, type MasterGroup, startMasters } from './making.ts';

/** Raw frames, which the threads of the frame pool read themselves, and pictures of a declared decoder. What does not go the same linearisation is made one after the other. */
export async function makeWithoutFfmpeg(run: JobRun, groups: readonly MasterGroup[]): Promise<Failure[]> {
  const { job, context } = run;
  const failures: Failure[] = [];
  for (const group of groups) {
    const total = job.span.count;
    const making = await startMasters(job, group, context, progressOf('make', total, context));
    try {
      if (job.facts.declared === undefined) await making.framePool.take(total, context.signal);
      else await feedDeclared(readingOf(job), making.framePool, context.threads, context.signal);
      context.signal.throwIfAborted();
      const heard = await hearSounds(
        job,
        [...group.movies, ...group.shown].map(({ deliverable }) => deliverable.outcome),
        context,
      );
      const changed = await decodedFailure(job, run.sourceSeen);
      if (changed !== null) throw new JobFailure(changed);
      const command = job.facts.declared?.declared.command ?? [
        developmentText(developedOf(group).linearisation),
      ];
      failures.push(
        ...(await finishMasters(run, group, making, {
          command,
          audioTracks: heard.map((sound) => sound?.fingerprint ?? null),
          decoded: null,
        })),
      );
    } catch (error) {
      context.signal.throwIfAborted();
      throw frameFailure(error, job) ?? error;
    } finally {
      await making.close();
    }
  }
  return failures;
}

/** Of a frame of the source: another machine would find the same. */
const OF_A_FRAME: readonly (ErrorCode | null)[] = [
  'file-damaged',
  'frame-damaged',
  'frame-refused',
  'frame-undevelopable',
  'decoder-failed',
];

/** null: not about a frame of the source. The error may come from a thread, so that its code says what it is. */
export function frameFailure(error: unknown, job: Job): JobFailure | null {
  const { message } = error as Error;
  const code = errorCodeOf(error);
  const declared = job.facts.declared ?? job.facts.raw?.decoder.declaration;
  const one = (found: Finding): JobFailure => new JobFailure({ findings: [found], retryable: false });
  const subject = subjectOf(job);
  if (code === 'decoder-failed' && declared !== undefined) {
    const expected = 'every picture of the clip, and nothing else';
    return one(finding('decoder-failed', printable(message), expected, subject));
  }
  return OF_A_FRAME.includes(code)
    ? one(finding('frame-develop-failed', message, 'a frame that can be developed', subject))
    : null;
}
