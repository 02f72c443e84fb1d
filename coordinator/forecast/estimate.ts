/** How long jobs are thought to take, for order and plan: by what was learned, else by the planner's table as far as this machine is faster or slower than that. Pure. */
import type { PlannedJob } from '../plan/types.ts';
import type { Job } from '../../ledger/job.ts';
import { kindKey, kindOf, kindText } from './kind.ts';
import type { JobSample } from './sample.ts';
import { likelySeconds, type Speed, speedOf } from './speed.ts';

export interface EstimateRequest {
  readonly machine: string;
  /** Jobs side by side on it. */
  readonly slots: number;
  readonly samples: readonly JobSample[];
  /** Jobs of it show how this night is. */
  readonly run: string | null;
}

/** The same jobs, with other seconds. */
export function estimated<Planned extends Pick<PlannedJob, 'job' | 'seconds'>>(
  jobs: readonly Planned[],
  { machine, slots, samples, run }: EstimateRequest,
): Planned[] {
  const speeds = new Map<string, Speed | null>();
  const speed = (planned: Planned): Speed | null => {
    const kind = kindOf(planned.job);
    const key = kindKey(kind);
    const known = speeds.get(key);
    if (known !== undefined) return known;
    const learned = speedOf(samples, { kind, machine, run, beside: slots - 1 });
    speeds.set(key, learned);
    return learned;
  };
  const known = jobs.map((planned) => {
    const learned = speed(planned);
    return learned === null ? null : likelySeconds(learned, planned.job.span.count) + learned.between;
  });
  const ratios = jobs.flatMap(({ seconds }, index) => {
    const own = known[index];
    return own == null ? [] : [Math.log(own / seconds)];
  });
  const ratio = Math.exp(ratios.reduce((sum, one) => sum + one, 0) / Math.max(1, ratios.length));
  return jobs.map((planned, index) => ({ ...planned, seconds: known[index] ?? planned.seconds * ratio }));
}

/** How many times as long as by the planner's table jobs take here, as far as it was learned. */
export function paceOf(
  jobs: readonly Pick<PlannedJob, 'job' | 'seconds'>[],
  request: EstimateRequest,
): number {
  const sum = (list: readonly { readonly seconds: number }[]): number =>
    list.reduce((all, { seconds }) => all + seconds, 0);
  return jobs.length === 0 ? 1 : sum(estimated(jobs, request)) / sum(jobs);
}

/** For people, each once: kinds of which too few jobs are finished. */
export function unknownKinds(
  jobs: readonly Job[],
  { machine, slots, samples }: Omit<EstimateRequest, 'run'>,
): string[] {
  const kinds = new Map(jobs.map((job) => [kindKey(kindOf(job)), kindOf(job)]));
  return [...kinds.values()]
    .filter((kind) => speedOf(samples, { kind, machine, run: null, beside: slots - 1 }) === null)
    .map(kindText);
}
