/** How long a job is its worker's without a word, and how often it is looked for jobs whose worker gave none. */

/** On one machine a dead worker's job is taken up again within seconds. */
export const LOCAL_LOCKS = { lockMilliseconds: 15_000, stalledMilliseconds: 5_000 };
/**
 * Over a network a short outage must not look like a death. Looked for so often that, with the queue's own way of looking, another machine
 * begins within LOST_MACHINE_MILLISECONDS (docs/mechanisms/lock-and-lease.md).
 */
export const FARM_LOCKS = { lockMilliseconds: 60_000, stalledMilliseconds: 4_000 };
/** After a machine is lost, until another one that is free and fit has begun what it worked on. */
export const LOST_MACHINE_MILLISECONDS = 75_000;
