/** How long a job is its worker's without a word, and how often it is looked for jobs whose worker gave none. */

/** On one machine a dead worker's job is taken up again within seconds. */
export const LOCAL_LOCKS = { lockMilliseconds: 15_000, stalledMilliseconds: 5_000 };
/** Over a network a short outage must not look like a death. */
export const FARM_LOCKS = { lockMilliseconds: 60_000, stalledMilliseconds: 10_000 };
