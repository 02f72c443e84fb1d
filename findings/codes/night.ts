/** Codes of the whole night: targets, queue, interruptions. */
import type { CodeEntry } from '../registry.ts';

export const nightCodes = {} as const satisfies Record<string, CodeEntry>;
