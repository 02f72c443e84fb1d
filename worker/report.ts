/** Deliverable reports, as the worker writes and finds them. */
import { hostname } from 'node:os';
import type { CheckReport } from '../check/index.ts';
import type { Finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../ledger/report.ts';
import { readRecord, writeRecord } from '../ledger/store.ts';
import type { Toolchain } from '../ledger/toolchain.ts';
import type { Deliverable } from './context.ts';

export interface ReportContext {
  readonly job: Job;
  readonly toolchain: Toolchain;
  readonly attempt: number;
  readonly startedAt: string;
}

function common(
  context: ReportContext,
  deliverable: Deliverable,
  command: readonly string[],
  checked: CheckReport | null,
) {
  const { job } = context;
  return {
    version: 1 as const,
    kind: 'deliverable' as const,
    day: job.day,
    roll: job.roll,
    clip: job.clip,
    profile: deliverable.profile.name,
    profileHash: deliverable.profileHash,
    toolchain: context.toolchain,
    outcome: deliverable.outcome,
    facts: checked?.facts ?? null,
    checks: [...(checked?.results ?? [])],
    startedAt: context.startedAt,
    finishedAt: new Date().toISOString(),
    host: hostname(),
    run: job.run,
    attempt: context.attempt,
    command: [...command],
  };
}

/** Everything but the state, which is `publishing` before the final name is given and `published` after. */
export function writtenReport(
  context: ReportContext,
  deliverable: Deliverable,
  file: NonNullable<DeliverableReport['file']>,
  proof: Pick<DeliverableReport, 'trail' | 'payload' | 'listing'>,
  supersedes: string[],
  command: readonly string[],
  checked: CheckReport,
): Omit<DeliverableReport, 'state'> {
  return {
    ...common(context, deliverable, command, checked),
    file,
    ...proof,
    findings: [...checked.findings],
    ...(supersedes.length === 0 ? {} : { supersedes }),
  };
}

/** `supersedes`: a failure does not make an older file of ours anybody else's. */
export function failedReport(
  context: ReportContext,
  deliverable: Deliverable,
  findings: readonly Finding[],
  supersedes: string[],
  command: readonly string[],
  checked: CheckReport | null,
): DeliverableReport {
  return {
    ...common(context, deliverable, command, checked),
    state: 'failed',
    file: null,
    findings: [...findings],
    ...(supersedes.length === 0 ? {} : { supersedes }),
  };
}

export async function writeReport(
  job: Job,
  deliverable: Deliverable,
  report: DeliverableReport | (Omit<DeliverableReport, 'state'> & { state: DeliverableReport['state'] }),
): Promise<void> {
  await writeRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, deliverable.profile.name),
    deliverableReportSchema,
    report as DeliverableReport,
  );
}

/** The report of an earlier attempt or night; null: there is none that can be read. */
export async function standing(job: Job, deliverable: Deliverable): Promise<DeliverableReport | null> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, deliverable.profile.name),
    deliverableReportSchema,
  );
  return read.state === 'read' ? read.value : null;
}
