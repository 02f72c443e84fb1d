/** From the frames of a mill, and what its encoders wrote, to checked and published masters. */
import { checkMaster } from '../../check/master/index.ts';
import type { Job } from '../../ledger/job.ts';
import { ratio } from '../../media/time/rate.ts';
import type { SourceTrail } from '../../proof/source-trail.ts';
import { subjectOf } from '../claim.ts';
import { classifyMake, targetTrouble, type Trouble } from '../classify.ts';
import { type JobContext, JobTrouble, progressOf } from '../context.ts';
import { conclude, finish } from '../finish.ts';
import { storedOnce } from '../proof.ts';
import type { ReportContext } from '../report.ts';
import { askTarget } from '../target.ts';
import type { Encoded, StagedMovieMaster } from './encoder.ts';
import { type MasterEvidence, type MasterGroup, type MasterMaking, sourceName } from './making.ts';

/** How the frames came to the mill, and what was heard meanwhile. */
interface MilledFrom {
  readonly command: readonly string[];
  readonly sounds: SourceTrail['sounds'];
}

/** Every master of a group, its frames or pictures made: proved, checked, published. */
export async function finishMasters(
  job: Job,
  { folders, movies }: MasterGroup,
  making: MasterMaking,
  { command, sounds }: MilledFrom,
  context: JobContext,
  report: ReportContext,
): Promise<Trouble[]> {
  const evidence = await making.prove(context.tools, context.signal);
  if (!('points' in evidence)) throw new JobTrouble(evidence);
  // The frames are written; their memory is for those that read them.
  await making.close();
  const troubles: Trouble[] = [];
  for (const [index, { deliverable, staged }] of folders.entries()) {
    const written = evidence.written[index] ?? null;
    const checked = await checkMaster({
      path: staged,
      outcome: deliverable.outcome,
      source: sourceName(job),
      points: evidence.points,
      light: evidence.light,
      written,
      threads: context.threads,
      signal: context.signal,
      subject: { ...subjectOf(job), profile: deliverable.profile.name },
      onFrames: progressOf('check', deliverable.outcome.frames, context),
    });
    const payload = { streams: written === null ? [] : [{ kind: 'frames', hash: written.digest }] };
    const trouble = await conclude(
      job,
      deliverable,
      staged,
      checked,
      command,
      { file: evidence.file, payload },
      context,
      report,
    );
    if (trouble !== null) troubles.push(trouble);
  }
  for (const [index, output] of movies.entries()) {
    const trouble = await finishMovieMaster(
      job,
      output,
      evidence.encoded[index] as Encoded,
      evidence,
      sounds,
      context,
      report,
    );
    if (trouble !== null) troubles.push(trouble);
  }
  return troubles;
}

async function finishMovieMaster(
  job: Job,
  output: StagedMovieMaster,
  { run, watched, payload }: Encoded,
  { fed }: MasterEvidence,
  sounds: SourceTrail['sounds'],
  context: JobContext,
  report: ReportContext,
): Promise<Trouble | null> {
  const {
    deliverable: { outcome, profile },
    staged,
  } = output;
  const subject = { ...subjectOf(job), profile: profile.name };
  if (fed === null) throw new RangeError('a movie of pictures that nobody made');
  const trouble = classifyMake(run, watched, outcome.frames, null, subject);
  if (trouble !== null) {
    const folder = staged.slice(0, staged.lastIndexOf('/'));
    const state = await askTarget(folder);
    return state === 'good' ? trouble : targetTrouble(state, folder, subject);
  }
  // Its own clock: the pictures were counted, and are as many as the clip has.
  const times = {
    timeBase: ratio(outcome.rate.den, outcome.rate.num),
    ticks: Float64Array.from({ length: outcome.frames }, (_, frame) => frame),
  };
  const trail: SourceTrail = {
    picture: fed.picture,
    times,
    sounds: job.facts.audio.map((_, track) => sounds[track] ?? null),
  };
  return await finish(
    job,
    output,
    [run.command, ...run.args],
    { trail, file: storedOnce(job, trail), encoded: payload, fed: fed.report },
    context,
    report,
  );
}
