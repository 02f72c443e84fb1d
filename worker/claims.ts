/** Publishing on a farm: under a number that only grows, so that who was overtaken while it was frozen replaces nothing of who came after. */
import { stat } from 'node:fs/promises';
import { fsPath } from '../files/names.ts';
import { type Claim, claimsOf, takeClaim } from '../ledger/claims.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { type Mounts, reportWithPlaces } from '../ledger/portable.ts';
import { type DeliverableReport, deliverableReportSchema } from '../ledger/report.ts';
import { recordBytes, writeWhole } from '../ledger/store.ts';
import type { JobContext } from './context.ts';
import { deliveryOf } from './target.ts';

/** Asks the fence. null: one machine, whose workers all end with their run. Throws what the fence throws. */
export async function claimFor(
  job: Job,
  profile: string,
  { machine, fence }: Pick<JobContext, 'machine' | 'fence'>,
): Promise<Claim | null> {
  if (machine === null) {
    await fence();
    return null;
  }
  // Below a mount point whose volume is gone nothing is made.
  await stat(fsPath(job.deliveryFolder));
  const { day, roll, clip, deliveryFolder } = job;
  return await takeClaim(claimsOf(deliveryOf(deliveryFolder), [day, roll, clip.id, profile]), fence);
}

/**
 * Writes the report, unless somebody has a higher number. A process that froze between that question and the writing, and thaws after
 * another one has published, puts that one's report back. Throws ClaimOvertaken.
 */
export async function writeClaimed(
  claim: Claim | null,
  { deliveryFolder, clip }: Pick<Job, 'deliveryFolder' | 'clip'>,
  report: DeliverableReport,
  mounts: Mounts,
): Promise<void> {
  const path = layout.deliverableReport(deliveryFolder, clip.id, report.profile);
  const bytes = recordBytes(deliverableReportSchema, {
    ...reportWithPlaces(report, mounts),
    ...(claim === null ? {} : { claim: claim.number }),
  });
  await claim?.assertHighest();
  await writeWhole(path, bytes);
  if (claim === null) return;
  const higher = await claim.higherReport();
  if (higher !== null) await writeWhole(path, higher);
  await claim.assertHighest();
  if (report.state !== 'publishing') await claim.keep(bytes.toString('utf8'));
}
