/** Codes of profiles: what a file says, what it cannot ask. */
import type { CodeEntry } from '../registry.ts';

export const profileCodes = {} as const satisfies Record<string, CodeEntry>;
