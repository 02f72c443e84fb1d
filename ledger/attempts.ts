/** How often a job was begun, and why again, as the queue counts it. Pure. */

/** As many as a job has attempts: fewer than after which a run has no workers left (coordinator/night/workers.ts). */
export const WORKERS_A_JOB_MAY_COST = 3;

/** Of a farm: what ends workers on two machines is no machine's fault. */
export const MACHINES_A_JOB_MAY_COST = 2;

export interface QueueCounts {
  /** Starts, this one included. */
  readonly attemptsStarted: number;
  /** Starts that ended as failures. */
  readonly attemptsMade: number;
}

export interface Attempts {
  /** From 1. */
  readonly attempt: number;
  /** Earlier starts that neither ended nor failed: their worker died, or did not answer for longer than its lock. */
  readonly workersLost: number;
}

/** BullMQ counts a start when a worker takes the job, a failure when it ends as one; what is between was lost. */
export function attemptsOf({ attemptsStarted, attemptsMade }: QueueCounts): Attempts {
  const attempt = Math.max(1, attemptsStarted, attemptsMade + 1);
  return { attempt, workersLost: attempt - 1 - attemptsMade };
}

/** `attempt 3: its worker was lost twice`, for people; null: it is the first. */
export function attemptText({ attempt, workersLost }: Attempts): string | null {
  if (attempt <= 1) return null;
  const failures = attempt - 1 - workersLost;
  const times = (count: number): string => (count === 1 ? '' : count === 2 ? ' twice' : ` ${count} times`);
  const why = [
    ...(workersLost > 0 ? [`its worker was lost${times(workersLost)}`] : []),
    ...(failures > 0 ? [`it failed${times(failures)}`] : []),
  ];
  return `attempt ${attempt}: ${why.join(', ')}`;
}
