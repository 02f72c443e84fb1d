/** Names of a night and its runs. */
import { createHash, randomBytes } from 'node:crypto';
import { placeId } from '../../ledger/volumes.ts';
import type { FarmVolumes } from '../dispatch/classes.ts';
import type { NightFolders } from '../roll/folders.ts';

/** The same shoot day delivered to the same place is the same night, whoever runs it. */
export function nightOf(day: string, delivery: string): string {
  return createHash('sha256').update(`${day}\0${delivery}`).digest('hex').slice(0, 16);
}

/**
 * The same of a run's folders. In a volume the delivery is named by the volume's id and the path below, so that runs on machines
 * that mount it at other places know that they are one night.
 */
export function nightOfFolders(
  { day, dayName, delivery }: Pick<NightFolders, 'day' | 'dayName' | 'delivery'>,
  volumes: FarmVolumes | null,
): string {
  const place = volumes === null ? null : placeId(volumes.mounts, volumes.volumes, delivery);
  return place === null ? nightOf(day, delivery) : nightOf(dayName, place);
}

/** `20260131T221503-1f2e3d4c`: sorted by time, never used twice; no `:` and not digits alone, which BullMQ refuses in ids. */
export function newRun(now = new Date()): string {
  return `${now.toISOString().slice(0, 19).replace(/[-:]/g, '')}-${randomBytes(4).toString('hex')}`;
}
