/** Deliverables of a clip that ffmpeg decodes: all of them from one decode, which is proved before anything is said of them. */
import { decodeWhole } from '../check/decode.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { openInput } from '../media/input.ts';
import { sourceTrouble, subjectOf } from './claim.ts';
import { classifyMake, looksDamaged, type SourceDecode, targetTrouble, type Trouble } from './classify.ts';
import { type JobContext, JobTrouble, progressOf } from './context.ts';
import { finish } from './finish.ts';
import type { JobRun } from './job-run.ts';
import { make, type MakeResult } from './make.ts';
import { finishMasters } from './master/finish.ts';
import { type MasterGroup, type MasterMaking, startMasters } from './master/making.ts';
import { proofOf } from './proof.ts';
import { askTarget } from './target.ts';

export interface StagedMovie {
  readonly deliverable: MovieWork;
  readonly staged: string;
}

/** From one decode: every movie, and the frames of every master. */
export async function makeCoded(
  run: JobRun,
  movies: readonly StagedMovie[],
  group: MasterGroup | null,
): Promise<Trouble[]> {
  const { job, context } = run;
  const making = group === null ? null : await startMasters(job, group, context, () => undefined);
  try {
    const made = await makeStaged(run, movies, group, making);
    const command = [made.run.command, ...made.run.args];
    const proof = await proofOf(job, made, context.tools, context.signal);
    if (!('trail' in proof)) throw new JobTrouble(proof);
    const troubles: Trouble[] = [];
    for (const [index, output] of movies.entries()) {
      const encoded = made.payloads[index] ?? null;
      const trouble = await finish(run, { ...output, command }, { ...proof, encoded });
      if (trouble !== null) troubles.push(trouble);
    }
    if (group !== null && making !== null)
      troubles.push(...(await finishMasters(run, group, making, { command, sounds: proof.trail.sounds })));
    return troubles;
  } finally {
    await making?.close();
  }
}

async function makeStaged(
  { job, context }: JobRun,
  outputs: readonly StagedMovie[],
  group: MasterGroup | null,
  making: MasterMaking | null,
): Promise<MakeResult> {
  const total = job.span.count;
  const made = await make({
    job,
    outputs,
    mill: making?.mill ?? null,
    besides: (group?.movies ?? []).map(({ deliverable }) => deliverable.outcome),
    tools: context.tools,
    threads: context.threads,
    stallMilliseconds: context.stallMilliseconds,
    signal: context.signal,
    onFrames: progressOf('make', total, context),
  });
  context.signal.throwIfAborted();
  const suspicious = made.run.reason !== 'exited' || looksDamaged(made.run, made.watched, total);
  if (suspicious) {
    // Asked while the unfinished files still fill the target.
    for (const { staged } of [...outputs, ...(group?.folders ?? []), ...(group?.movies ?? [])]) {
      const folder = staged.slice(0, staged.lastIndexOf('/'));
      const state = await askTarget(folder);
      if (state !== 'good') throw new JobTrouble(targetTrouble(state, folder, subjectOf(job)));
    }
  }
  const source =
    suspicious && made.watched.sizeChange === null && looksDamaged(made.run, made.watched, total)
      ? await decodeSource(job, context)
      : null;
  const trouble = classifyMake({ ...made, frames: total, source }, subjectOf(job));
  if (trouble !== null) throw new JobTrouble(trouble);
  const changed = await sourceTrouble(job);
  if (changed !== null) throw new JobTrouble({ findings: [changed], again: false });
  return made;
}

/** The clip alone, decoded once more: tells a damaged clip from an encoder that failed. */
async function decodeSource(job: Job, context: JobContext): Promise<SourceDecode | null> {
  const input = await openInput(job.rollFolder, job.clip.place, job.facts.video.rate);
  try {
    return await decodeWhole(input, context.tools, { threads: context.threads, signal: context.signal });
  } finally {
    await input.dispose();
  }
}
