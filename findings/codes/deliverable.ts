/** Codes of what was made: make, check, publish. */
import type { CodeEntry } from '../registry.ts';

export const deliverableCodes = {
  'record-damaged': {
    weight: 'hold',
    title: 'a record on disk cannot be read',
    remedy: 'Delete that record; what it described is measured or made again on the next run. If records are damaged repeatedly, check the volume.',
  },
} as const satisfies Record<string, CodeEntry>;
