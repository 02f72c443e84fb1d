/** Deliverables of a clip that ffmpeg decodes: all of them from one decode, which is proved before anything is said of them. */
import { decodeWhole } from '../check/decode.ts';
import { fieldsMadeFindings } from '../check/fields-made.ts';
import type { Finding } from '../findings/finding.ts';
import { uprightSize } from '../media/facts.ts';
import { earlierSide } from '../media/fields.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import type { Job } from '../ledger/job.ts';
import type { StagedMovie } from './recipe-run.ts';
import { openClip } from '../media/input.ts';
import { decodedFailure, subjectOf } from './claim.ts';
import { classifyMake, looksDamaged, type SourceDecode, targetFailure, type Failure } from './classify.ts';
import { type JobContext, JobFailure, progressOf } from './context.ts';
import { barsOf } from './bars.ts';
import { drawnTextOf } from './burn-in.ts';
import { finishContentLight } from './content-light.ts';
import { encoderInputOf } from './encoder-input.ts';
import { finish } from './publish-deliverable.ts';
import type { JobRun } from './job-run.ts';
import { make, type MakeResult } from './make.ts';
import { finishMasters } from './master/publish-master.ts';
import { type MasterGroup, type MasterMaking, startMasters } from './master/making.ts';
import { colourWayOf } from './colour-way.ts';
import { proofOf, shownProof, splitProof } from './proof.ts';
import { hearSounds, withSounds } from './sound.ts';
import { isCut } from './segments/cut.ts';
import { joinStaged } from './segments/join.ts';
import { readingOf } from './stretch.ts';
import { askTarget } from './target.ts';

/** From one decode: every movie, and the frames of every master. */
export async function makeFromFfmpegFrames(
  run: JobRun,
  movies: readonly StagedMovie[],
  group: MasterGroup | null,
): Promise<Failure[]> {
  const { job, context } = run;
  const making = group === null ? null : await startMasters(job, group, context, () => undefined);
  try {
    const made = isCut(run.job)
      ? await joinStaged(run, run.job, movies)
      : await makeStaged(run, movies, group, making);
    const command = [made.run.command, ...made.run.args];
    const proof = proofOf(job, made);
    if (!('fingerprints' in proof)) throw new JobFailure(proof);
    const failures: Failure[] = [];
    for (const [index, output] of movies.entries()) {
      const encoded = made.bitstreams[index] ?? null;
      const encoderInput = encoderInputOf(job, output.deliverable, made.encoderInputs[index] ?? null);
      const drawnText = drawnTextOf(job, output.deliverable, made.texts[index] ?? null);
      const bars = barsOf(job, output.deliverable, made.bars[index] ?? null);
      const light = await finishContentLight(job, output, made.light[index] ?? null);
      const way = colourWayOf(job, output.deliverable, made.colourWays[index] ?? null);
      const { deliverable } = output;
      const shown =
        deliverable.outcome.cadence.split === null
          ? shownProof(job, proof, deliverable, made.shown[index] ?? null)
          : splitProof(job, proof, deliverable, made.splitFields);
      if (!('fingerprints' in shown)) {
        failures.push(shown);
        continue;
      }
      const failure = await finish(
        run,
        { ...output, command },
        {
          ...shown,
          ...(way === null ? {} : { colourWay: way }),
          encoded,
          ...light,
          sketch: made.sketches[index] ?? null,
          pictures: made.pictures?.[index] ?? null,
          ...(encoderInput === null ? {} : { encoderInput }),
          ...(drawnText === null ? {} : { drawnText }),
          ...(bars === null ? {} : { bars }),
        },
      );
      if (failure !== null) failures.push(failure);
    }
    if (group !== null && making !== null) {
      const findings = fieldsFindings(job, proof.fingerprints.picture, made.madeOfFields);
      if (findings.length > 0) throw new JobFailure({ findings, retryable: true });
      failures.push(
        ...(await finishMasters(run, group, making, {
          command,
          audioTracks: proof.fingerprints.audioTracks,
          decoded: made.madeOfFields ?? proof.fingerprints.picture,
        })),
      );
    }
    return failures;
  } finally {
    await making?.close();
  }
}

/** Of frames that masters are made of. */
function fieldsFindings(
  job: Job,
  decoded: FrameFingerprints,
  made: FrameFingerprints | null,
): readonly Finding[] {
  const earlier = earlierSide(job.facts.video);
  return earlier === null
    ? []
    : fieldsMadeFindings({ decoded, made, earlier, ...uprightSize(job.facts.video) }, subjectOf(job));
}

async function makeStaged(
  { job, context, sourceSeen }: JobRun,
  outputs: readonly StagedMovie[],
  group: MasterGroup | null,
  making: MasterMaking | null,
): Promise<MakeResult> {
  const total = job.span.count;
  const besides = [...(group?.movies ?? []), ...(group?.shown ?? [])].map(
    ({ deliverable }) => deliverable.outcome,
  );
  const made = await make({
    job,
    outputs,
    framePool: making?.framePool ?? null,
    besides,
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
    for (const { staged } of [
      ...outputs,
      ...(group?.folders ?? []),
      ...(group?.movies ?? []),
      ...(group?.shown ?? []),
    ]) {
      const folder = staged.slice(0, staged.lastIndexOf('/'));
      const state = await askTarget(folder);
      if (state !== 'good') throw new JobFailure(targetFailure(state, folder, subjectOf(job)));
    }
  }
  const source =
    suspicious && made.watched.sizeChange === null && looksDamaged(made.run, made.watched, total)
      ? await decodeSource(job, context)
      : null;
  const failure = classifyMake({ ...made, frames: total, source }, subjectOf(job));
  if (failure !== null) throw new JobFailure(failure);
  const heard = await hearSounds(
    job,
    [...outputs.map(({ deliverable }) => deliverable.outcome), ...besides],
    context,
  );
  const changed = await decodedFailure(job, sourceSeen);
  if (changed !== null) throw new JobFailure(changed);
  return { ...made, fingerprints: withSounds(made.fingerprints, heard) };
}

/** The clip alone, decoded once more: it separates a damaged clip from an encoder that failed. */
async function decodeSource(whole: Job, context: JobContext): Promise<SourceDecode | null> {
  const job = readingOf(whole);
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  try {
    return await decodeWhole(input, context.tools, { threads: context.threads, signal: context.signal });
  } finally {
    await input.dispose();
  }
}
