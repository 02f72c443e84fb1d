/** Codes of the machine: tools, versions, space, cores. */
import type { CodeEntry } from '../registry.ts';

export const machineCodes = {} as const satisfies Record<string, CodeEntry>;
