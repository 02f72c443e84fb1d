/** Names of a night and its runs. */
import { createHash, randomBytes } from 'node:crypto';

/** The same shoot day delivered to the same place is the same night, whoever runs it. */
export function nightOf(day: string, delivery: string): string {
  return createHash('sha256').update(`${day}\0${delivery}`).digest('hex').slice(0, 16);
}

/** `20260131T221503-1f2e3d4c`: sorted by time, never used twice; no `:` and not digits alone, which BullMQ refuses in ids. */
export function newRun(now = new Date()): string {
  return `${now.toISOString().slice(0, 19).replace(/[-:]/g, '')}-${randomBytes(4).toString('hex')}`;
}
