/** Codes of what was made: make, check, publish. */
import type { CodeEntry } from '../registry.ts';

export const deliverableCodes = {} as const satisfies Record<string, CodeEntry>;
