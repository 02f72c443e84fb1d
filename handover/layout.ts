/** Where a handover lies in a day of a delivery. The only place that builds these names. */
import { collisionKey } from '../files/safe-names.ts';

export const HANDOVER = 'handover';

export const handoverLayout = {
  bin: 'bin.otio',
  timeline: 'timeline.otio',
  log: 'log.csv',
  checksums: 'checksums.sha256',
  statement: 'statement.json',
  rollBin: (folder: string): string => `${folder}/${folder}.otio`,
  edl: (folder: string, counting: string): string => `${folder}/${folder}.${counting}.edl`,
  amf: (folder: string, clipId: string): string => `${folder}/${clipId}.amf`,
} as const;

/** A roll of that name would lie where the handover of its day does. */
export const isHandoverName = (folder: string): boolean => collisionKey(folder) === collisionKey(HANDOVER);
