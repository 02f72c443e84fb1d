/** From the frames of a mill, and what its encoders wrote, to checked and published masters. */
import type { Written } from '../../check/master/compare.ts';
import { checkMaster } from '../../check/master/index.ts';
import type { MasterWork } from '../../ledger/job.ts';
import { ratio } from '../../media/time/rate.ts';
import type { SourceTrail } from '../../proof/source-trail.ts';
import { subjectOf } from '../claim.ts';
import { classifyMake, targetTrouble, type Trouble } from '../classify.ts';
import { JobTrouble, progressOf } from '../context.ts';
import { conclude, finish, type Made } from '../finish.ts';
import type { JobRun } from '../job-run.ts';
import { storedOnce } from '../proof.ts';
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
  run: JobRun,
  { folders, movies }: MasterGroup,
  making: MasterMaking,
  { command, sounds }: MilledFrom,
): Promise<Trouble[]> {
  const { context } = run;
  const evidence = await making.prove(context.tools, context.signal);
  if (!('points' in evidence)) throw new JobTrouble(evidence);
  // The frames are written; their memory is for those that read them.
  await making.close();
  const troubles: Trouble[] = [];
  for (const [index, output] of folders.entries()) {
    const written = evidence.written[index] ?? null;
    const trouble = await finishFrames(run, { ...output, command }, evidence, written);
    if (trouble !== null) troubles.push(trouble);
  }
  for (const [index, output] of movies.entries()) {
    const encoded = evidence.encoded[index] as Encoded;
    const trouble = await finishMovieMaster(run, output, encoded, { fed: evidence.fed, sounds });
    if (trouble !== null) troubles.push(trouble);
  }
  return troubles;
}

async function finishFrames(
  run: JobRun,
  made: Made<MasterWork>,
  evidence: MasterEvidence,
  written: Written | null,
): Promise<Trouble | null> {
  const { job, context } = run;
  const { outcome, profile } = made.deliverable;
  const checked = await checkMaster({
    path: made.staged,
    outcome,
    source: sourceName(job),
    points: evidence.points,
    light: evidence.light,
    written,
    threads: context.threads,
    signal: context.signal,
    subject: { ...subjectOf(job), profile: profile.name },
    onFrames: progressOf('check', outcome.frames, context),
  });
  const payload = { streams: written === null ? [] : [{ kind: 'frames', hash: written.digest }] };
  return await conclude(run, { ...made, checked, proved: { file: evidence.file, payload } });
}

async function finishMovieMaster(
  jobRun: JobRun,
  output: StagedMovieMaster,
  { run, watched, payload }: Encoded,
  { fed, sounds }: Pick<MasterEvidence, 'fed'> & Pick<MilledFrom, 'sounds'>,
): Promise<Trouble | null> {
  const { job } = jobRun;
  const {
    deliverable: { outcome, profile },
    staged,
  } = output;
  const subject = { ...subjectOf(job), profile: profile.name };
  if (fed === null) throw new RangeError('a movie of pictures that nobody made');
  const trouble = classifyMake({ run, watched, frames: outcome.frames, source: null }, subject);
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
    jobRun,
    { ...output, command: [run.command, ...run.args] },
    { trail, file: storedOnce(job, trail), encoded: payload, fed: fed.report },
  );
}
