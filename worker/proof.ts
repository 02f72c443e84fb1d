/** The trail of what was decoded: whether it is whole and of this clip, and its file beside the reports. */
import { join } from 'node:path';
import { finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import { writeWhole } from '../ledger/store.ts';
import { payloadText } from '../proof/payload.ts';
import { cadenceOf } from '../media/probe/cadence.ts';
import { formatRatio, sameRatio } from '../media/time/rate.ts';
import type { MediaTools } from '../process/locate.ts';
import { type SourceTrail, trailFile } from '../proof/source-trail.ts';
import { makeFolder } from './target.ts';
import { subjectOf } from './claim.ts';
import type { Trouble } from './classify.ts';
import type { MakeResult } from './make.ts';
import { spotTrouble } from './spot.ts';

export interface Proof {
  readonly trail: SourceTrail;
  /** Writes the trail's file, once, and says where it stands. */
  file(): Promise<NonNullable<DeliverableReport['trail']>>;
}

/** Pure: one picture for each frame, at the steps that the packets have. */
export function trailTrouble(job: Job, trail: SourceTrail | null): Trouble | null {
  const frames = job.span.count;
  const told = (found: string, expected: string): Trouble => ({
    findings: [finding('decode-times-differ', found, expected, subjectOf(job))],
    again: true,
  });
  if (trail === null || trail.picture.frames !== frames || trail.times.ticks.length !== frames) {
    return told(
      `${trail?.picture.frames ?? 0} pictures and ${trail?.times.ticks.length ?? 0} times`,
      `${frames} of each`,
    );
  }
  const { ticks, timeBase } = trail.times;
  if (ticks.some(Number.isNaN)) return told('frames without a time', 'a time for every frame');
  const { rate } = job.facts.video;
  const cadence = cadenceOf(ticks, timeBase, [rate]);
  if (cadence.constant && cadence.rate !== null && sameRatio(cadence.rate, rate)) return null;
  const steps = cadence.steps
    .slice(0, 4)
    .map((step) => `${step.count} x ${step.ticks}`)
    .join(' + ');
  return told(
    `steps of ${steps} ticks of ${formatRatio(timeBase)} s`,
    `equal steps at ${formatRatio(rate)} frames a second`,
  );
}

/** Pure: the encoder took in the very packets that the clip has. */
export function takenTrouble(job: Job, { taken, there }: MakeResult['source']): Trouble | null {
  const same =
    there.streams.length === 1 + job.facts.audio.length && payloadText(taken) === payloadText(there);
  return same
    ? null
    : {
        findings: [finding('source-read-differs', payloadText(taken), payloadText(there), subjectOf(job))],
        again: true,
      };
}

export async function proofOf(
  job: Job,
  made: MakeResult,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<Proof | Trouble> {
  const { trail } = made;
  const trouble = takenTrouble(job, made.source) ?? trailTrouble(job, trail);
  if (trouble !== null || trail === null) return trouble as Trouble;
  const other = await spotTrouble(job, trail, tools, signal);
  if (other !== null) return { findings: [other], again: true };
  return { trail, file: storedOnce(job, trail) };
}

/** Writes the trail's file when it is asked for, once, and says where it stands. */
export function storedOnce(job: Job, trail: SourceTrail): Proof['file'] {
  let written: Promise<NonNullable<DeliverableReport['trail']>> | undefined;
  const write = async (): Promise<NonNullable<DeliverableReport['trail']>> => {
    const { bytes, digest } = await trailFile(trail);
    const path = layout.trail(job.clip.id, digest);
    await makeFolder(job.deliveryFolder, join(layout.reportsFolder(job.deliveryFolder), 'trails'));
    await writeWhole(join(job.deliveryFolder, path), bytes);
    return { path, sha256: digest };
  };
  return () => (written ??= write());
}
