/** Whether a job of this run has its result on disk: the queue's word is not asked. */
import type { Finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { type CutWork, findSegment } from '../../ledger/segments.ts';
import { areStillsFinished, readStills, stillsMismatch, type StillsOnDisk } from '../../ledger/stills.ts';
import { mismatchReason } from '../../ledger/wanted.ts';
import { decisionDigest } from '../../profiles/outcome/any.ts';
import { stillsDigest } from '../../profiles/stills/decide.ts';
import type { DeliverableOnDisk } from '../gate/input.ts';
import { readDeliverable } from '../gate/disk.ts';

/** What of a job its result is known by. Outcomes by their digests: of a night of many clips all lie in memory. */
export interface Expected {
  readonly run: string;
  /** <delivery>/<day>/<roll>. */
  readonly deliveryFolder: string;
  readonly clip: string;
  readonly contentDigest: string;
  readonly toolchain: string;
  readonly deliverables: readonly {
    readonly profile: string;
    readonly profileHash: string;
    readonly decision: string;
  }[];
  /** Digest of what was decided of its stills; null: none are to be made. */
  readonly stills: string | null;
}

/** Whether a segment of a job lies there whole, by its record and the sizes of its files, and waits to be joined. */
export async function isSegmentThere(
  { deliveryFolder, clip, ...expected }: Expected,
  { segments, segment }: CutWork,
  span: { readonly start: number; readonly count: number },
): Promise<boolean> {
  if (segment === null) return false;
  const place = { rollFolder: deliveryFolder, clip, span };
  return typeof (await findSegment(place, { ...expected, segments }, segment)) !== 'string';
}

export function expectedOf(job: Job): Expected {
  const { run, deliveryFolder, clip, toolchain, deliverables, stills } = job;
  return {
    run,
    deliveryFolder,
    clip: clip.id,
    contentDigest: clip.contentDigest,
    toolchain,
    deliverables: deliverables.map(({ profile, profileHash, outcome }) => ({
      profile: profile.name,
      profileHash,
      decision: decisionDigest(outcome),
    })),
    stills: stills === undefined ? null : stillsDigest(stills),
  };
}

/** Failures of the place, not of the clip: made again when the place is well again. */
const PLACE_CODES = new Set(['target-full', 'target-read-only', 'target-gone']);

/** Pure: `disk` in the order of the job's deliverables. */
export function isComplete(expected: Expected, disk: readonly DeliverableOnDisk[]): boolean {
  const { contentDigest, toolchain, run } = expected;
  return expected.deliverables.every(({ profileHash, decision }, index) => {
    const found = disk[index];
    const report = found?.report ?? null;
    const wanted = { contentDigest, toolchain, profileHash, outcome: { decision } };
    if (report === null || mismatchReason(report, wanted) !== null) return false;
    if (report.state === 'published')
      return (
        report.file !== null &&
        found?.bytesOnDisk === report.file.bytes &&
        found.folder?.files === report.file.files
      );
    return (
      report.state === 'failed' &&
      report.run === run &&
      !report.findings.some((item) => PLACE_CODES.has(item.code))
    );
  });
}

/** Pure: the same of its stills. */
export function areStillsComplete(expected: Expected, disk: StillsOnDisk): boolean {
  const { contentDigest, toolchain, run, stills } = expected;
  if (stills === null) return true;
  const wanted = { contentDigest, toolchain, outcome: { decision: stills } };
  if (areStillsFinished(disk, wanted)) return true;
  const { report } = disk;
  return (
    report?.state === 'failed' &&
    report.run === run &&
    stillsMismatch(report, wanted) === null &&
    !report.findings.some((item) => PLACE_CODES.has(item.code))
  );
}

/** Findings of the place in this run's reports of the job, so that the night can wait for it. */
export function placeFailure({ run }: Expected, disk: readonly DeliverableOnDisk[]): Finding[] {
  return disk.flatMap((found) =>
    found.report?.run === run ? found.report.findings.filter((item) => PLACE_CODES.has(item.code)) : [],
  );
}

/** In the order of the job's deliverables. */
export async function readResults({
  deliverables,
  deliveryFolder,
  clip,
}: Expected): Promise<DeliverableOnDisk[]> {
  return await Promise.all(
    deliverables.map(({ profile }) => readDeliverable(deliveryFolder, clip, profile, 'leave')),
  );
}

/** Its stills are read only where there are any. */
export async function hasStills(expected: Expected): Promise<boolean> {
  return (
    expected.stills === null ||
    areStillsComplete(expected, await readStills(expected.deliveryFolder, expected.clip))
  );
}
