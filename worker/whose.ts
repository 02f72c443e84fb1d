/** Whose trouble it was that kept a job from its end: the clip's, or the machine's that tried it. Pure. */
import type { Finding } from '../findings/finding.ts';
import type { FindingCode } from '../findings/registry.ts';
import type { Job } from '../ledger/job.ts';

/** They say nothing of the clip, however many machines say them. */
const OF_THE_MACHINE: ReadonlySet<string> = new Set<FindingCode>([
  'toolchain-differs',
  'tool-missing',
  'tool-too-old',
  'tool-unusable',
  'encoder-not-started',
  'raw-no-decoder',
  'decoder-differs',
  'decoder-program-missing',
  'kernel-missing',
  'scratch-full',
  'volume-unknown',
  'volume-path-leaves',
  'job-path-absolute',
  'target-gone',
  'target-full',
  'target-read-only',
]);
/** One machine alone cannot say it of the clip: its own copy may lack the file, its own program may hang. */
const OF_EITHER: ReadonlySet<string> = new Set<FindingCode>([
  'source-missing',
  'source-changed',
  'encoder-stalled',
]);

/** The finding for which `machine` gives the job back; null: the clip's, to be written down. */
export function machinesTrouble(
  findings: readonly Finding[],
  { witnesses = [], sole }: Pick<Job, 'witnesses' | 'sole'>,
  machine: string,
): Finding | null {
  const saidBy = (code: string, who: (witness: string) => boolean): boolean =>
    witnesses.some((witness) => witness.code === code && who(witness.machine));
  const agreed = (code: string): boolean =>
    saidBy(code, (witness) => witness !== machine) ||
    (sole === machine && saidBy(code, (witness) => witness === machine));
  return (
    findings.find(({ code }) => OF_THE_MACHINE.has(code)) ??
    findings.find(({ code }) => OF_EITHER.has(code) && !agreed(code)) ??
    null
  );
}
