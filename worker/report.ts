/** Deliverable reports, as the worker writes them. */
import { hostname } from 'node:os';
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
