/** Whether a job of this run has its result on disk: the queue's word is not asked. */
import type { Finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { areStillsFinished, stillsMismatch, type StillsOnDisk } from '../../ledger/stills.ts';
import { wantedOf, mismatchReason } from '../../ledger/wanted.ts';
import type { DeliverableOnDisk } from '../gate/input.ts';
import { readDeliverable } from '../gate/disk.ts';

/** Failures of the place, not of the clip: made again when the place is well again. */
const PLACE_CODES = new Set(['target-full', 'target-read-only', 'target-gone']);

/** Pure: `disk` in the order of the job's deliverables. */
export function isComplete(job: Job, disk: readonly DeliverableOnDisk[]): boolean {
  return job.deliverables.every((deliverable, index) => {
    const found = disk[index];
    const report = found?.report ?? null;
    if (report === null || mismatchReason(report, wantedOf(job, deliverable)) !== null) return false;
    if (report.state === 'published')
      return (
        report.file !== null &&
        found?.bytesOnDisk === report.file.bytes &&
        found.folder?.files === report.file.files
      );
    return (
      report.state === 'failed' &&
      report.run === job.run &&
      !report.findings.some((item) => PLACE_CODES.has(item.code))
    );
  });
}

/** Pure: the same of its stills. */
export function areStillsComplete(job: Job, disk: StillsOnDisk): boolean {
  if (job.stills === undefined) return true;
  const wanted = { contentDigest: job.clip.contentDigest, toolchain: job.toolchain, outcome: job.stills };
  if (areStillsFinished(disk, wanted)) return true;
  const { report } = disk;
  return (
    report?.state === 'failed' &&
    report.run === job.run &&
    stillsMismatch(report, wanted) === null &&
    !report.findings.some((item) => PLACE_CODES.has(item.code))
  );
}

/** Findings of the place in this run's reports of the job, so that the night can wait for it. */
export function placeFailure(job: Job, disk: readonly DeliverableOnDisk[]): Finding[] {
  return disk.flatMap((found) =>
    found.report?.run === job.run ? found.report.findings.filter((item) => PLACE_CODES.has(item.code)) : [],
  );
}

export async function readResults(job: Job): Promise<DeliverableOnDisk[]> {
  return await Promise.all(
    job.deliverables.map((deliverable) =>
      readDeliverable(job.deliveryFolder, job.clip.id, deliverable.profile.name, 'leave'),
    ),
  );
}
