/** The canonical hash of a profile: the same for the same request however it was written, another for any other request. */
import { createHash } from 'node:crypto';
import type { AnyProfile } from './schema.ts';

/**
 * JSON with sorted keys and without white space, after RFC 8785: keys by UTF-16 code units, strings and numbers as
 * JSON.stringify writes them, which is the form that RFC 8785 takes over. What JSON cannot carry throws TypeError.
 */
export function canonicalJson(value: unknown): string {
  if (value === null || typeof value === 'boolean' || typeof value === 'string') return JSON.stringify(value);
  if (typeof value === 'number' && Number.isFinite(value)) return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(canonicalJson).join(',')}]`;
  if (typeof value === 'object') {
    const entries = Object.entries(value).sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0));
    return `{${entries.map(([key, item]) => `${JSON.stringify(key)}:${canonicalJson(item)}`).join(',')}}`;
  }
  throw new TypeError(`no canonical form for ${typeof value} ${String(value)}`);
}

/** SHA-256, hex. The summary is for people and is left out. */
export function profileHash(profile: AnyProfile): string {
  const { summary: _, ...asked } = profile;
  return createHash('sha256').update(canonicalJson(asked)).digest('hex');
}
