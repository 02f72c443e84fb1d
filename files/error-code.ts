/**
 * The code that the operating system gave an error of node:fs (`ENOENT`); empty when it gave none: then it is another kind of
 * fault. Codes of our own errors (coded-error.ts) are in small letters and are none of the system's.
 */
export function codeOf(error: unknown): string {
  return typeof error === 'object' && error !== null && 'code' in error && /^[A-Z]/.test(String(error.code))
    ? String(error.code)
    : '';
}
