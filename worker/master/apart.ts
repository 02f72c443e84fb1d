/** Masters of a clip that ffmpeg does not decode: raw frames, and pictures of a declared decoder. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { printable } from '../../files/names.ts';
import { type ErrorCode, errorCodeOf } from '../../files/coded-error.ts';
import { sourceTrouble, subjectOf } from '../claim.ts';
import type { Trouble } from '../classify.ts';
import { JobTrouble, progressOf } from '../context.ts';
import type { JobRun } from '../job-run.ts';
import { developmentText } from './attributes.ts';
import { feedDeclared } from './declared.ts';
import type { StagedMovieMaster } from './encoder.ts';
import { finishMasters } from './finish.ts';
import { type MasterGroup, type StagedMaster, startMasters } from './making.ts';

/** Raw frames, which the threads of the mill read themselves, and pictures of a declared decoder. What does not go the same way to light is made one after the other. */
export async function makeApart(run: JobRun, groups: readonly MasterGroup[]): Promise<Trouble[]> {
  const { job, context } = run;
  const troubles: Trouble[] = [];
  for (const group of groups) {
    const total = job.span.count;
    const making = await startMasters(job, group, context, progressOf('make', total, context));
    try {
      if (job.facts.declared === undefined) await making.mill.take(total, context.signal);
      else await feedDeclared(job, making.mill, context.threads, context.signal);
      context.signal.throwIfAborted();
      const changed = await sourceTrouble(job);
      if (changed !== null) throw new JobTrouble({ findings: [changed], again: false });
      const [{ deliverable }] = [...group.folders, ...group.movies] as [StagedMaster | StagedMovieMaster];
      const command = job.facts.declared?.declared.command ?? [developmentText(deliverable.outcome.way)];
      troubles.push(...(await finishMasters(run, group, making, { command, sounds: [] })));
    } catch (error) {
      context.signal.throwIfAborted();
      throw frameTrouble(error, job) ?? error;
    } finally {
      await making.close();
    }
  }
  return troubles;
}

/** Of a frame of the source: another machine would find the same. */
const OF_A_FRAME: readonly (ErrorCode | null)[] = [
  'frame-damaged',
  'frame-refused',
  'frame-undevelopable',
  'decoder-failed',
];

/** null: not about a frame of the source. The error may come from a thread, so that its code says what it is. */
export function frameTrouble(error: unknown, job: Job): JobTrouble | null {
  const { message } = error as Error;
  const code = errorCodeOf(error);
  const declared = job.facts.declared ?? job.facts.raw?.decoder.declaration;
  const one = (found: Finding): JobTrouble => new JobTrouble({ findings: [found], again: false });
  const subject = subjectOf(job);
  if (code === 'decoder-failed' && declared !== undefined) {
    const expected = 'every picture of the clip, and nothing else';
    return one(finding('decoder-failed', printable(message), expected, subject));
  }
  return OF_A_FRAME.includes(code)
    ? one(finding('frame-develop-failed', message, 'a frame that can be developed', subject))
    : null;
}
