/** The finding of a field that is not what it must be. */
import type { Fault } from '../container-verdict.ts';
import { place } from './boxes.ts';

/** `at`: byte of the file. */
export const differs = (
  where: { readonly path: string; readonly at: number },
  what: string,
  found: string,
  expected: string,
): Fault => ({
  code: 'container-differs',
  found: `${place(where.path, where.at)}: ${what} ${found}`,
  expected: `${what} ${expected}`,
});
