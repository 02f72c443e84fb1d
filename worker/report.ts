/** Deliverable reports, as the worker writes them. */
import { hostname } from 'node:os';
import { machineId } from '../files/machine-id.ts';
import type { Spent } from '../ledger/spent.ts';
import type { CheckReport } from '../check/index.ts';
import type { Finding } from '../findings/finding.ts';
import type { DeliverableReport } from '../ledger/report.ts';
import type { Deliverable } from './context.ts';
import { type JobRun, oursOf } from './job-run.ts';

/** What every report says. */
export interface ReportRequest {
  readonly run: JobRun;
  readonly deliverable: Deliverable;
  /** The encoder's command line, as it ran; empty: none did. */
  readonly command: readonly string[];
  /** null: nothing came as far as to be checked. */
  readonly checked: CheckReport | null;
}

function common({ run, deliverable, command, checked }: ReportRequest) {
  const { job, context } = run;
  const supersedes = oursOf(run, deliverable);
  return {
    version: 0 as const,
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
    // A failure, too, does not make an older file of ours anybody else's.
    ...(supersedes.length === 0 ? {} : { supersedes: [...supersedes] }),
    startedAt: run.startedAt,
    finishedAt: new Date().toISOString(),
    host: hostname(),
    run: job.run,
    attempt: context.attempt,
    ...((context.workersLost ?? 0) === 0 ? {} : { workersLost: context.workersLost }),
    command: [...command],
  };
}

/** What the job has taken so far, and of it what this deliverable has since the one before it. */
export async function spentOf({ context, clock, beside }: JobRun): Promise<Spent> {
  return {
    ...(await spentOnJob({ context, clock, beside })),
    check: rounded(clock.tell('check')),
    publish: rounded(clock.tell('publish')),
  };
}

/** Milliseconds are enough. */
export const rounded = (seconds: number): number => Math.round(seconds * 1000) / 1000;

export async function spentOnJob({
  context,
  clock,
  beside,
}: Pick<JobRun, 'context' | 'clock' | 'beside'>): Promise<
  Pick<Spent, 'machine' | 'waited' | 'beside' | 'claim' | 'make' | 'job'>
> {
  const { waited = null } = context;
  const others = await beside.mean();
  return {
    machine: machineId().id,
    waited: waited === null ? null : rounded(waited),
    beside: others === null ? null : rounded(others),
    claim: rounded(clock.of('claim')),
    make: rounded(clock.of('make')),
    job: rounded(clock.whole()),
  };
}

/** Everything but the state, which is `publishing` before the final name is given and `published` after. */
export function writtenReport(
  request: ReportRequest & { readonly checked: CheckReport },
  file: NonNullable<DeliverableReport['file']>,
  proof: Pick<
    DeliverableReport,
    'fingerprints' | 'bitstream' | 'contentLight' | 'checksumList' | 'errorSketch'
  >,
): Omit<DeliverableReport, 'state'> {
  return { ...common(request), file, ...proof, findings: [...request.checked.findings] };
}

export function failedReport(request: ReportRequest, findings: readonly Finding[]): DeliverableReport {
  return { ...common(request), state: 'failed', file: null, findings: [...findings] };
}
