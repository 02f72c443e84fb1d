/** Names of a night and its runs, and of rolls on the delivery. Pure but for the clock and chance of `newRun`. */
import { createHash, randomBytes } from 'node:crypto';
import { hasRawBytes } from '../../media/names.ts';

/** The same shoot day delivered to the same place is the same night, whoever runs it. */
export function nightOf(day: string, delivery: string): string {
  return createHash('sha256').update(`${day}\0${delivery}`).digest('hex').slice(0, 16);
}

/** `20260131T221503-1f2e3d4c`: sorted by time, never used twice; no `:` and not digits alone, which BullMQ refuses in ids. */
export function newRun(now = new Date()): string {
  return `${now.toISOString().slice(0, 19).replace(/[-:]/g, '')}-${randomBytes(4).toString('hex')}`;
}

/** The roll's folder on the delivery: its name, or one that any system can write, with a digest so that no two meet. */
export function deliveryName(roll: string): string {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: exactly these must not get into a file name.
  const safe = roll.replace(/[\udc80-\udcff]/g, (raw) => `=${(raw.charCodeAt(0) - 0xdc00).toString(16)}`).replace(/[\u0000-\u001f\u007f<>:"/\\|?*]/g, '_').replace(/[. ]+$/, '_');
  if (safe === roll && !hasRawBytes(roll)) return roll;
  return `${safe}-${createHash('sha256').update(Buffer.from(roll, 'utf16le')).digest('hex').slice(0, 8)}`;
}
