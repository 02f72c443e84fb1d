/** The code that the operating system gave an error of node:fs (`ENOENT`); empty when it gave none: then it is another kind of fault. */
export function codeOf(error: unknown): string {
  return typeof error === 'object' && error !== null && 'code' in error && typeof error.code === 'string'
    ? error.code
    : '';
}
