/** Names that are the same wherever and whenever they are made: UUIDs of version 5 (RFC 9562, section 5.5). */
import { createHash } from 'node:crypto';

/** RFC 9562, section 6.6: the namespace of names that are URLs. */
export const URL_NAMESPACE = '6ba7b811-9dad-11d1-80b4-00c04fd430c8';

/** `namespace`: a UUID. Lower-case hex with hyphens. Throws RangeError for a namespace that is none. */
export function uuid5(namespace: string, name: string): string {
  if (!/^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i.test(namespace))
    throw new RangeError(`no UUID: ${namespace}`);
  const digest = createHash('sha1')
    .update(Buffer.from(namespace.replaceAll('-', ''), 'hex'))
    .update(name, 'utf8')
    .digest()
    .subarray(0, 16);
  digest[6] = ((digest[6] as number) & 0x0f) | 0x50;
  digest[8] = ((digest[8] as number) & 0x3f) | 0x80;
  const hex = digest.toString('hex');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}
