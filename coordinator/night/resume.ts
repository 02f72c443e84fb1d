/** Whether a planned deliverable is finished already: by its report, by the bytes that stand, and by what the gate would say of it. */
import { blocks } from '../../findings/finding.ts';
import { hasKeptFiles } from '../../ledger/kept-files.ts';
import type { Job } from '../../ledger/job.ts';
import { completeRecords, completionOf } from '../../ledger/completion.ts';
import { wantedOf } from '../../ledger/wanted.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { deliverableKey } from '../gate/input.ts';
import { judgeDeliverable } from '../gate/deliverable.ts';
import { readDeliverable } from '../gate/disk.ts';

export interface FinishedRequest {
  /** The deliverable's profile. */
  readonly loaded: LoadedProfile;
  readonly toolchain: Toolchain;
  /** A report whose file was renamed into place and which does not say so yet is completed. */
  readonly mayWrite: boolean;
  readonly signal: AbortSignal;
}

/** Reads the finished file whole. */
export async function isFinished(
  job: Job,
  deliverable: Job['deliverables'][number],
  { loaded, toolchain, mayWrite, signal }: FinishedRequest,
): Promise<boolean> {
  const { name } = deliverable.profile;
  const disk = await readDeliverable(job.deliveryFolder, job.clip.id, name, 'leave');
  // A damaged record is as good as none: the deliverable is made again and the record with it.
  if (disk.report === null) return false;
  const completion = await completionOf(disk.report, job.deliveryFolder, wantedOf(job, deliverable), signal);
  if (completion.state !== 'finished') return false;
  // What the gate would hold must be made again, or it would be held for ever; but for what lies in a folder besides it, which that does not take away.
  const relisted = completion.relist === null ? {} : { checksumListSha256: completion.relist.sha256 };
  const onDisk = new Map([
    [deliverableKey(job.clip.id, name), { ...disk, ...relisted, report: completion.report }],
  ]);
  const { findings } = judgeDeliverable(
    { clip: job.clip, facts: job.facts, loaded },
    { day: job.day, roll: job.roll, toolchain, onDisk },
    [],
  );
  if (findings.some((item) => blocks(item) && item.code !== 'folder-file-unexpected')) return false;
  // The audit holds a master whose transforms are gone, and only what is made is given them again.
  if (!(await hasKeptFiles(deliverable.outcome, job.deliveryFolder))) return false;
  if (mayWrite) await completeRecords(completion, job.deliveryFolder);
  return true;
}
