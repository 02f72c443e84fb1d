/** Which part of a job is under way, and how long each has taken: by the monotonic clock of this process. */
import { type JobPart, jobParts } from '../ledger/spent.ts';

export interface JobClock {
  /** What is done from now on is this. */
  enter(part: JobPart): void;
  /** What was spent on it before, by jobs that made its segments. */
  add(part: JobPart, seconds: number): void;
  /** Seconds of the part so far, all deliverables together. */
  of(part: JobPart): number;
  /** Seconds of the part since it was last told. */
  tell(part: JobPart): number;
  /** Seconds since the job was taken. */
  whole(): number;
}

/** Begins with `claim`. `now`: milliseconds that never go back. */
export function startJobClock(now: () => number = () => performance.now()): JobClock {
  const began = now();
  const spent = new Map<JobPart, number>(jobParts.map((part) => [part, 0]));
  const told = new Map<JobPart, number>();
  let current: JobPart = 'claim';
  let since = began;
  let earlier = 0;
  const settle = (): void => {
    const at = now();
    spent.set(current, (spent.get(current) ?? 0) + at - since);
    since = at;
  };
  const of = (part: JobPart): number => {
    settle();
    return (spent.get(part) ?? 0) / 1000;
  };
  return {
    enter(part) {
      settle();
      current = part;
    },
    add(part, seconds) {
      spent.set(part, (spent.get(part) ?? 0) + 1000 * seconds);
      earlier += seconds;
    },
    of,
    tell(part) {
      const all = of(part);
      const fresh = all - (told.get(part) ?? 0);
      told.set(part, all);
      return Math.max(0, fresh);
    },
    whole: () => (now() - began) / 1000 + earlier,
  };
}
