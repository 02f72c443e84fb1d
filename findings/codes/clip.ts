/** Codes of a clip and what was measured of it (survey, make). */
import type { CodeEntry } from '../registry.ts';

export const clipCodes = {} as const satisfies Record<string, CodeEntry>;
