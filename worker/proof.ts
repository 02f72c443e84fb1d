/** The fingerprints of what was decoded: whether it is whole and of this clip, and its file beside the reports. */
import { join } from 'node:path';
import { fieldsSplitFindings } from '../check/fields-made.ts';
import { finding } from '../findings/finding.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import { writeWhole } from '../ledger/store.ts';
import { bitstreamText, sourceStreams } from '../proof/bitstream.ts';
import { frameSpacingOf, stepsInOrder } from '../media/probe/frame-spacing.ts';
import { formatRatio, ratio, sameRatio } from '../media/time/rate.ts';
import { uprightFacts } from '../media/upright.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import { type SourceFingerprints, fingerprintFile } from '../proof/source-fingerprints.ts';
import { makeFolder } from './target.ts';
import { subjectOf } from './claim.ts';
import type { Failure } from './classify.ts';
import type { MakeResult } from './make.ts';
import { framesBefore } from './stretch.ts';
import { fieldsFailure, orientationFailure, spotFailure } from './spot.ts';

export interface Proof {
  readonly fingerprints: SourceFingerprints;
  /** Writes the file of the fingerprints, once, and says where it stands. */
  file(): Promise<NonNullable<DeliverableReport['fingerprints']>>;
}

/** Pure: one picture for each frame, at the steps that the packets have. */
export function fingerprintFailure(job: Job, fingerprints: SourceFingerprints | null): Failure | null {
  const frames = job.span.count;
  const reported = (found: string, expected: string): Failure => ({
    findings: [finding('decode-times-differ', found, expected, subjectOf(job))],
    retryable: true,
  });
  if (
    fingerprints === null ||
    fingerprints.picture.frames !== frames ||
    fingerprints.times.ticks.length !== frames
  ) {
    return reported(
      `${fingerprints?.picture.frames ?? 0} pictures and ${fingerprints?.times.ticks.length ?? 0} times`,
      `${frames} of each`,
    );
  }
  const { ticks, timeBase } = fingerprints.times;
  if (ticks.some(Number.isNaN)) return reported('frames without a time', 'a time for every frame');
  const misplaced = placeOfStretch(job, fingerprints.times);
  if (misplaced !== null) return reported(misplaced, 'the times that its frames have in the clip');
  const { rate, stepsInOrder: steps, timeBase: clock } = job.facts.video;
  if (steps !== undefined)
    return sameRatio(timeBase, clock) && JSON.stringify(stepsInOrder(ticks)) === JSON.stringify(steps)
      ? null
      : reported('frames at other times than the packets have', 'the times of the packets');
  const frameSpacing = frameSpacingOf(ticks, timeBase, [rate]);
  if (frameSpacing.constant && frameSpacing.rate !== null && sameRatio(frameSpacing.rate, rate)) return null;
  const found = frameSpacing.steps
    .slice(0, 4)
    .map((step) => `${step.count} x ${step.ticks}`)
    .join(' + ');
  return reported(
    `steps of ${found} ticks of ${formatRatio(timeBase)} s`,
    `equal steps at ${formatRatio(rate)} frames a second`,
  );
}

/**
 * The frames of a stretch are counted out behind the decoder. Their times say the same in another way: the first one's is that of so many frames of the
 * clip, to half a frame. Where audio begins first, the decoder's clock does. null: it is, or nothing was counted out.
 */
function placeOfStretch(job: Job, { ticks, timeBase }: SourceFingerprints['times']): string | null {
  const before = framesBefore(job);
  const { video, audio } = job.facts;
  if (before === 0 || !video.rateConstant) return null;
  const earlier = Math.max(0, ...audio.map(({ startOffset, sampleRate }) => -startOffset / sampleRate));
  const seconds = ((ticks[0] as number) * timeBase.num) / timeBase.den - earlier;
  const frames = (seconds * video.rate.num) / video.rate.den;
  return Math.abs(frames - before) < 0.5
    ? null
    : `a first frame at the time of frame ${frames.toFixed(2)}, counted as frame ${before}`;
}

/** Pure: the encoder took in the very packets that the clip has. */
export function takenFailure(
  job: Job,
  { taken, there }: Pick<MakeResult['source'], 'taken' | 'there'>,
): Failure | null {
  const same =
    there.streams.length === sourceStreams(job.facts).length && bitstreamText(taken) === bitstreamText(there);
  return same
    ? null
    : {
        findings: [
          finding('source-read-differs', bitstreamText(taken), bitstreamText(there), subjectOf(job)),
        ],
        retryable: true,
      };
}

export function proofOf(job: Job, made: MakeResult): Proof | Failure {
  const { fingerprints } = made;
  const failure = takenFailure(job, made.source) ?? fingerprintFailure(job, fingerprints);
  if (failure !== null || fingerprints === null) return failure as Failure;
  const other =
    orientationFailure(job, made.source.shape.orientation) ??
    fieldsFailure(job, made.source.shape.earlierField, made.watched.fields) ??
    spotFailure(job, fingerprints, made.source.spots);
  if (other !== null) return { findings: [other], retryable: true };
  return { fingerprints, file: storedOnce(job, fingerprints) };
}

/** Writes the file of the fingerprints when it is asked for, once, and says where it stands. */
export function storedOnce(job: Job, fingerprints: SourceFingerprints): Proof['file'] {
  let written: Promise<NonNullable<DeliverableReport['fingerprints']>> | undefined;
  const write = async (): Promise<NonNullable<DeliverableReport['fingerprints']>> => {
    const { bytes, digest } = await fingerprintFile(fingerprints);
    const path = layout.fingerprints(job.clip.id, digest);
    await makeFolder(job.deliveryFolder, join(layout.reportsFolder(job.deliveryFolder), 'fingerprints'));
    await writeWhole(join(job.deliveryFolder, path), bytes);
    return { path, sha256: digest };
  };
  return () => (written ??= write());
}

/** Pictures of a colour way that were lost or doubled behind the decoder. */
export const waySpoiled = (job: Job, { profile }: MovieWork, frames: number, wanted: number): Failure => ({
  findings: [
    finding(
      'colour-way-differs',
      `${frames} frames came out of the colour way`,
      `${wanted} frames, as many as were decoded`,
      { ...subjectOf(job), profile: profile.name },
    ),
  ],
  retryable: true,
});

/** Presentation times of fields: an earlier one has that of its frame, a later one lies halfway to the next. */
function timesOfFields({ timeBase, ticks }: SourceFingerprints['times']): SourceFingerprints['times'] {
  const last = ticks.length - 1;
  const step = (frame: number): number =>
    last === 0 ? 1 : frame < last ? (ticks[frame + 1] as number) - (ticks[frame] as number) : step(last - 1);
  // In half ticks, so that the middle is one.
  const halves = Float64Array.from({ length: 2 * ticks.length }, (_, field) => {
    const frame = Math.floor(field / 2);
    return 2 * (ticks[frame] as number) + (field % 2 === 0 ? 0 : step(frame));
  });
  return { timeBase: ratio(timeBase.num, 2 * timeBase.den), ticks: halves };
}

/** What a movie of split fields is proved by: the frames that were made of them, after these were held against the fields of the decoded frames. */
export function splitProof(
  job: Job,
  proof: Proof,
  { outcome, profile }: MovieWork,
  picture: FrameFingerprints | null,
): Proof | Failure {
  const { split } = outcome.cadence;
  if (split === null) return proof;
  const { width, height } = uprightFacts(job.facts).video;
  const findings = fieldsSplitFindings(
    { decoded: proof.fingerprints.picture, made: picture, earlier: split.earlier, width, height },
    { ...subjectOf(job), profile: profile.name },
  );
  if (picture === null || findings.length > 0) return { findings, retryable: true };
  const fingerprints = {
    ...proof.fingerprints,
    picture,
    times: timesOfFields(proof.fingerprints.times),
  };
  return { fingerprints, file: storedOnce(job, fingerprints) };
}

/** What a movie is proved by: of a colour way the fingerprints of its pictures, in place of the decoded ones. */
export function shownProof(
  job: Job,
  proof: Proof,
  deliverable: MovieWork,
  picture: FrameFingerprints | null,
): Proof | Failure {
  if (deliverable.outcome.shown === null) return proof;
  const { frames } = proof.fingerprints.picture;
  if (picture === null || picture.frames !== frames)
    return waySpoiled(job, deliverable, picture?.frames ?? 0, frames);
  const fingerprints = { ...proof.fingerprints, picture };
  return { fingerprints, file: storedOnce(job, fingerprints) };
}
