/** C4 IDs: a SHA-512 digest written in base 58 (SMPTE ST 2114). Always 90 characters, case matters. */
import { createHash } from 'node:crypto';

/** In the order of ASCII: IDs sort as their digests do. */
const ALPHABET = '123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz';
const DIGITS = 88;

/** `digest`: the 64 bytes of a SHA-512. */
export function c4FromDigest(digest: Buffer): string {
  if (digest.length !== 64) throw new RangeError(`a C4 ID is made of 64 bytes, not ${digest.length}`);
  let number = BigInt(`0x${digest.toString('hex')}`);
  let text = '';
  while (number > 0n) {
    text = (ALPHABET[Number(number % 58n)] as string) + text;
    number /= 58n;
  }
  return `c4${text.padStart(DIGITS, ALPHABET[0])}`;
}

/** The 64-byte digest. Throws RangeError for what is not a C4 ID (58^88 is more than 2^512). */
export function c4ToDigest(id: string): Buffer {
  if (!/^c4[1-9A-HJ-NP-Za-km-z]{88}$/.test(id)) throw new RangeError(`not a C4 ID: ${id}`);
  let number = 0n;
  for (const character of id.slice(2)) number = number * 58n + BigInt(ALPHABET.indexOf(character));
  if (number >= 1n << 512n) throw new RangeError(`not a C4 ID, too large: ${id}`);
  return Buffer.from(number.toString(16).padStart(128, '0'), 'hex');
}

export function c4OfBytes(bytes: Uint8Array): string {
  return c4FromDigest(createHash('sha512').update(bytes).digest());
}
