/** From the frames of a frame pool, and what its encoders wrote, to checked and published masters. */
import { join } from 'node:path';
import { checkMaster } from '../../check/master/index.ts';
import { takeAllAfterFolder } from '../../files/belonging.ts';
import type { WhileMadeReport } from '../../check/while-made.ts';
import type { Finding, FindingSubject } from '../../findings/finding.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { barsOf } from '../bars.ts';
import { drawnTextOf } from '../burn-in.ts';
import { colourWayOf } from '../colour-way.ts';
import { finishContentLight } from '../content-light.ts';
import { encoderInputOf } from '../encoder-input.ts';
import type { StagedMovie } from '../recipe-run.ts';
import type { MasterWork } from '../../ledger/job.ts';
import { checkHandedOver } from '../../check/master/handed-over.ts';
import { limitsFindings } from '../../check/master/limits.ts';
import { withReading } from '../../check/master/reading.ts';
import { checkSidecars } from '../../check/master/sidecars.ts';
import { layout } from '../../ledger/layout.ts';
import { ratio } from '../../media/time/rate.ts';
import type { Reading } from '../../proof/form.ts';
import type { SourceFingerprints } from '../../proof/source-fingerprints.ts';
import { subjectOf } from '../claim.ts';
import { classifyMake, targetFailure, type Failure } from '../classify.ts';
import { JobFailure, progressOf } from '../context.ts';
import { checkAndPublish, finish, type Made } from '../publish-deliverable.ts';
import type { JobRun } from '../job-run.ts';
import { storedOnce, waySpoiled } from '../proof.ts';
import { besideOf } from '../sidecars.ts';
import { askTarget } from '../target.ts';
import { writeCompanions } from './companions.ts';
import type { Encoded, StagedMovieMaster } from './encoder.ts';
import type { MasterEvidence, MasterGroup, MasterMaking } from './making.ts';

/** How the frames came to the frame pool, and what was heard meanwhile. */
interface FrameResultsFrom {
  readonly command: readonly string[];
  readonly audioTracks: SourceFingerprints['audioTracks'];
  /** Of the decoder that they came from; null: they came another way. */
  readonly decoded: SourceFingerprints['picture'] | null;
}

/** Every master of a group, its frames or pictures made: proved, checked, published. */
export async function finishMasters(
  run: JobRun,
  { folders, movies, shown }: MasterGroup,
  making: MasterMaking,
  { command, audioTracks, decoded }: FrameResultsFrom,
): Promise<Failure[]> {
  const { context } = run;
  const evidence = await making.prove({ tools: context.tools, decoded, signal: context.signal });
  if (!('points' in evidence)) throw new JobFailure(evidence);
  // The frames are written; their memory is for those that read them.
  await making.close();
  const failures: Failure[] = [];
  for (const [index, output] of folders.entries()) {
    const failure = await finishFrames(run, { ...output, command }, evidence, index);
    if (failure !== null) failures.push(failure);
  }
  for (const [index, output] of movies.entries()) {
    const encoded = evidence.encoded[index] as Encoded;
    const failure = await finishMovieMaster(run, output, encoded, {
      encoderInput: evidence.encoderInput,
      sceneLinear: evidence.sceneLinear,
      audioTracks,
      reading: evidence.points.reading,
    });
    if (failure !== null) failures.push(failure);
  }
  for (const [index, output] of shown.entries()) {
    const failure = await finishShown(run, output, { ...evidence, audioTracks }, index);
    if (failure !== null) failures.push(failure);
  }
  return failures;
}

async function finishFrames(
  run: JobRun,
  made: Made<MasterWork>,
  evidence: MasterEvidence,
  index: number,
): Promise<Failure | null> {
  const { job, context } = run;
  const written = evidence.written[index] ?? null;
  const seen = evidence.seen[index];
  const { outcome, profile } = made.deliverable;
  await writeCompanions((name) => join(made.staged, name), outcome, job.deliveryFolder);
  await takeAllAfterFolder(made.staged);
  const onFrames = progressOf('check', outcome.frames, context);
  onFrames(0);
  run.clock.enter('check');
  const checked = await checkMaster({
    path: made.staged,
    rollFolder: job.deliveryFolder,
    outcome,
    sourceFacts: job.facts,
    points: evidence.points,
    sceneLinear: evidence.sceneLinear,
    written,
    ...(seen === undefined ? {} : { seen }),
    threads: context.threads,
    signal: context.signal,
    subject: { ...subjectOf(job), profile: profile.name },
    onFrames,
  });
  const bitstream = { streams: written === null ? [] : [{ kind: 'frames', hash: written.digest }] };
  return await checkAndPublish(run, { ...made, checked, proved: { file: evidence.file, bitstream } });
}

/** The pictures were counted, and are as many as the clip has. */
const ownClock = ({ rate, frames }: Outcome): SourceFingerprints['times'] => ({
  timeBase: ratio(rate.den, rate.num),
  ticks: Float64Array.from({ length: frames }, (_, frame) => frame),
});

/** A movie whose pictures were developed to be looked at. */
async function finishShown(
  jobRun: JobRun,
  output: StagedMovie,
  { shown, audioTracks, points: { reading } }: MasterEvidence & Pick<FrameResultsFrom, 'audioTracks'>,
  index: number,
): Promise<Failure | null> {
  const { job } = jobRun;
  const { deliverable, staged } = output;
  const { outcome, profile } = deliverable;
  const subject = { ...subjectOf(job), profile: profile.name };
  if (shown === null || outcome.shown?.from !== 'developed')
    throw new RangeError('a movie of pictures that nobody developed');
  const { made, report, ...seen } = shown;
  const { run, watched } = made;
  const failure = await encodingFailure({ run, watched }, outcome.frames, staged, subject);
  if (failure !== null) return failure;
  const picture = made.shown[index] ?? null;
  if (picture === null) return waySpoiled(job, deliverable, 0, outcome.frames);
  const fingerprints: SourceFingerprints = {
    picture,
    times: ownClock(outcome),
    audioTracks: job.facts.audio.map((_, track) => audioTracks[track] ?? null),
    ...(reading === undefined ? {} : { reading }),
  };
  const { width, height } = outcome.shown.size;
  const handedOver = checkHandedOver(
    { ...seen, given: made.handedOver, frames: outcome.frames, pixels: width * height, format: 'shown' },
    subject,
  );
  const colourWay = colourWayOf(job, deliverable, made.colourWays[index] ?? null);
  const encoderInput = encoderInputOf(job, deliverable, made.encoderInputs[index] ?? null);
  const drawnText = drawnTextOf(job, deliverable, made.texts[index] ?? null);
  const bars = barsOf(job, deliverable, made.bars[index] ?? null);
  return await finish(
    jobRun,
    { ...output, command: [run.command, ...run.args] },
    {
      fingerprints,
      file: storedOnce(job, fingerprints),
      encoded: made.bitstreams[index] ?? null,
      ...(await finishContentLight(job, output, made.light[index] ?? null)),
      sketch: made.sketches[index] ?? null,
      development: withNotes(
        withReading(report, handedOver),
        limitsFindings({ format: 'shown' }, outcome.shown.size, seen.seen, subject),
      ),
      ...(colourWay === null ? {} : { colourWay }),
      ...(encoderInput === null ? {} : { encoderInput }),
      ...(drawnText === null ? {} : { drawnText }),
      ...(bars === null ? {} : { bars }),
    },
  );
}

/** What kept a fed encoder from its movie. */
async function encodingFailure(
  encoded: Pick<Encoded, 'run' | 'watched'>,
  frames: number,
  staged: string,
  subject: FindingSubject,
): Promise<Failure | null> {
  const failure = classifyMake({ ...encoded, frames, source: null }, subject);
  if (failure === null) return null;
  const folder = staged.slice(0, staged.lastIndexOf('/'));
  const state = await askTarget(folder);
  return state === 'good' ? failure : targetFailure(state, folder, subject);
}

const withNotes = (report: WhileMadeReport, notes: readonly Finding[]): WhileMadeReport => ({
  ...report,
  findings: [...report.findings, ...notes],
});

async function finishMovieMaster(
  jobRun: JobRun,
  output: StagedMovieMaster,
  { run, watched, bitstream, sketch, pictures }: Encoded,
  {
    encoderInput,
    sceneLinear,
    audioTracks,
    reading,
  }: Pick<MasterEvidence, 'encoderInput' | 'sceneLinear'> &
    Pick<FrameResultsFrom, 'audioTracks'> & { readonly reading: Reading | undefined },
): Promise<Failure | null> {
  const { job } = jobRun;
  const {
    deliverable: { outcome, profile },
    staged,
  } = output;
  const subject = { ...subjectOf(job), profile: profile.name };
  if (encoderInput === null) throw new RangeError('a movie of pictures that nobody made');
  const failure = await encodingFailure({ run, watched }, outcome.frames, staged, subject);
  if (failure !== null) return failure;
  const fingerprints: SourceFingerprints = {
    picture: encoderInput.picture,
    times: ownClock(outcome),
    audioTracks: job.facts.audio.map((_, track) => audioTracks[track] ?? null),
    ...(reading === undefined ? {} : { reading }),
  };
  const stagedAs = (name: string): string => layout.stagedBeside(staged, name);
  await writeCompanions(stagedAs, outcome, job.deliveryFolder);
  // Before they are looked at: what is published must be what was looked at.
  const beside = await besideOf(job, output.deliverable, staged);
  const sidecars = await checkSidecars({
    outcome,
    placeOf: stagedAs,
    rollFolder: job.deliveryFolder,
    sceneLinear,
    subject,
  });
  return await finish(
    jobRun,
    { ...output, command: [run.command, ...run.args], beside },
    {
      fingerprints,
      file: storedOnce(job, fingerprints),
      encoded: bitstream,
      sketch,
      sidecars,
      encoderInput: withNotes(
        withReading(
          encoderInput.report,
          checkHandedOver(
            {
              ...encoderInput,
              given: pictures,
              frames: outcome.frames,
              pixels: outcome.width * outcome.height,
              format: 'rdd36',
            },
            subject,
          ),
        ),
        limitsFindings({ format: 'rdd36' }, outcome, encoderInput.seen, subject),
      ),
    },
  );
}
