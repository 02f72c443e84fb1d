/** Which file names a declared decoder takes. Pure. */
import type { LoadedDecoder } from './programs.ts';

/** `*` any characters, `?` one; small and capital letters alike. */
export function matchesPattern(pattern: string, name: string): boolean {
  const expression = pattern
    .replace(/[\\^$.|+()[\]{}]/g, '\\$&')
    .replaceAll('*', '.*')
    .replaceAll('?', '.');
  return new RegExp(`^${expression}$`, 'isu').test(name);
}

/** `path`: with `/` between parts. */
export function takesName({ declared }: LoadedDecoder, path: string): boolean {
  const name = path.slice(path.lastIndexOf('/') + 1);
  return declared.takes.names.some((pattern) => matchesPattern(pattern, name));
}
