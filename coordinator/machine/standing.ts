/** How this machine stands with each class of jobs: from proofs, jobs that came back and jobs that were done. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { MachineRecord, Posting } from '../../ledger/farm.ts';

/** A machine that gave a job back is asked again after so long; after twice as long each time it does so again. */
export const ASIDE_MILLISECONDS = 10_000;
const LONGEST_ASIDE_MILLISECONDS = 16 * 60_000;

export interface Aside {
  /** In milliseconds of a clock that never goes back. */
  readonly until: number;
  /** Jobs that came back in a row. */
  readonly times: number;
  readonly finding: Finding;
}

export function asideAfter(before: Aside | undefined, finding: Finding, now: number): Aside {
  const times = (before?.times ?? 0) + 1;
  const milliseconds = Math.min(ASIDE_MILLISECONDS * 2 ** (times - 1), LONGEST_ASIDE_MILLISECONDS);
  return { until: now + milliseconds, times, finding };
}

export type ClassStanding = MachineRecord['classes'][number];

export function standingOf(
  { queue, run, weight }: Pick<Posting, 'queue' | 'run' | 'weight'>,
  /** undefined: not proved yet. */
  proof: readonly Finding[] | undefined,
  aside: Aside | undefined,
  now: number,
): ClassStanding | null {
  if (proof === undefined) return null;
  if (proof.length > 0) return { queue, run, weight, standing: 'unfit', findings: [...proof] };
  return aside !== undefined && now < aside.until
    ? { queue, run, weight, standing: 'set-aside', findings: [aside.finding] }
    : { queue, run, weight, standing: 'fit', findings: [] };
}

/** For people, of a machine that is not fit; none of one that is. */
export function standingFindings(
  { standing, findings }: Pick<ClassStanding, 'standing' | 'findings'>,
  host: string,
): Finding[] {
  const code = standing === 'set-aside' ? 'machine-set-aside' : 'machine-unfit';
  return findings.map((why) =>
    finding(
      code,
      `${why.code}: ${why.found}${why.file === undefined ? '' : ` (${why.file})`}`,
      why.expected,
      { file: host },
    ),
  );
}
