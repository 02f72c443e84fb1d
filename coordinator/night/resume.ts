/** What of a planned job is finished already: by its report, by the bytes that stand, and by what the gate would say of it. */
import { holds } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { settleDeliverable } from '../../ledger/settle.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { deliverableKey, type GateInput } from '../gate/decide.ts';
import { judgeDeliverable } from '../gate/deliverable.ts';

export interface Resumed {
  /** The job with what is left to make; null: nothing is. */
  readonly job: Job | null;
  /** Profiles that stand finished. */
  readonly kept: readonly string[];
}

type GateView = Pick<GateInput, 'day' | 'roll' | 'toolchain'>;

/** Reads every finished file whole. A report whose file was renamed into place and which does not say so yet is completed. */
export async function withoutFinished(job: Job, profiles: readonly LoadedProfile[], gate: GateView, signal: AbortSignal): Promise<Resumed> {
  const left: Job['deliverables'] = [];
  const kept: string[] = [];
  for (const deliverable of job.deliverables) {
    signal.throwIfAborted();
    if (await isFinished(job, deliverable, profiles, gate, signal)) kept.push(deliverable.profile.name);
    else left.push(deliverable);
  }
  return { job: left.length === 0 ? null : { ...job, deliverables: left }, kept };
}

async function isFinished(job: Job, deliverable: Job['deliverables'][number], profiles: readonly LoadedProfile[], gate: GateView, signal: AbortSignal): Promise<boolean> {
  const { name } = deliverable.profile;
  const loaded = profiles.find((one) => one.profile.name === name);
  const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, name);
  const read = await readRecord(path, deliverableReportSchema);
  // A damaged record is as good as none: the deliverable is made again and the record with it.
  if (read.state !== 'read' || loaded === undefined) return false;
  const settled = await settleDeliverable(read.value, job.deliveryFolder, { contentDigest: job.clip.contentDigest, profileHash: deliverable.profileHash, toolchain: job.toolchain }, signal);
  if (settled.state !== 'finished') return false;
  // What the gate would hold must be made again, or it would be held for ever.
  const onDisk = new Map([[deliverableKey(job.clip.id, name), { report: settled.report, damage: null, standingBytes: settled.report.file?.bytes ?? null }]]);
  const { findings } = judgeDeliverable(job.clip, loaded, { ...gate, onDisk }, []);
  if (findings.some(holds)) return false;
  if (settled.rewrite) await writeRecord(path, deliverableReportSchema, settled.report);
  return true;
}
