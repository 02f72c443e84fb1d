/** The checksum algorithms of manifests: their names here, lengths, and the names that files and tags give them. */

export const algorithms = [
  'xxh32',
  'xxh64',
  'xxh3',
  'xxh128',
  'md5',
  'sha1',
  'sha224',
  'sha256',
  'sha384',
  'sha512',
  'blake2b',
  'c4',
] as const;
export type Algorithm = (typeof algorithms)[number];

/** Lower-case hex in canonical (big-endian) order; a C4 ID for `c4`. */
export type Hashes = Readonly<Partial<Record<Algorithm, string>>>;

/** Characters of the text form. */
const TEXT_LENGTH: Readonly<Record<Algorithm, number>> = {
  xxh32: 8,
  xxh64: 16,
  xxh3: 16,
  xxh128: 32,
  md5: 32,
  sha1: 40,
  sha224: 56,
  sha256: 64,
  sha384: 96,
  sha512: 128,
  blake2b: 128,
  c4: 90,
};

/** The value in its one spelling (hex in lower case), or null when it cannot be a value of this algorithm. */
export function canonicalValue(algorithm: Algorithm, text: string): string | null {
  if (text.length !== TEXT_LENGTH[algorithm]) return null;
  if (algorithm === 'c4') return /^c4[1-9A-HJ-NP-Za-km-z]{88}$/.test(text) ? text : null;
  return /^[0-9a-f]+$/i.test(text) ? text.toLowerCase() : null;
}

/** What a checksum file's name says of its algorithm. `xxh` leaves the width to the length of the value, as xxhsum does. */
export type FileFamily = Algorithm | 'xxh';

const FAMILY_BY_WORD: Readonly<Record<string, FileFamily>> = {
  md5: 'md5',
  sha1: 'sha1',
  sha224: 'sha224',
  sha256: 'sha256',
  sha384: 'sha384',
  sha512: 'sha512',
  b2: 'blake2b',
  xxh32: 'xxh32',
  xxh64: 'xxh64',
  xxh3: 'xxh3',
  xxh128: 'xxh128',
  xxh: 'xxh',
  xxhash: 'xxh',
};

/** `name.md5`, or the customary collective names `MD5SUMS`, `sha256sums.txt`. Null: not a checksum file. */
export function familyOfFileName(name: string): FileFamily | null {
  const words = [/\.([a-z0-9]+)$/i, /^([a-z0-9]+?)sums?(?:\.txt)?$/i].map(
    (pattern) => pattern.exec(name)?.[1]?.toLowerCase() ?? '',
  );
  const word = words.find((candidate) => Object.hasOwn(FAMILY_BY_WORD, candidate));
  return word === undefined ? null : (FAMILY_BY_WORD[word] as FileFamily);
}

/** The algorithm of a value without a tag; null when the family does not have one of this length. */
export function algorithmOf(family: FileFamily, value: string): Algorithm | null {
  if (family !== 'xxh') return canonicalValue(family, value) === null ? null : family;
  const byLength = ({ 8: 'xxh32', 16: 'xxh64', 32: 'xxh128' } as const)[value.length as 8 | 16 | 32];
  return byLength !== undefined && canonicalValue(byLength, value) !== null ? byLength : null;
}

/** Tags of the BSD form, as coreutils (`cksum`, `md5sum --tag`) and xxhsum print them. */
const ALGORITHM_BY_TAG: Readonly<Record<string, Algorithm>> = {
  MD5: 'md5',
  SHA1: 'sha1',
  SHA224: 'sha224',
  SHA256: 'sha256',
  SHA384: 'sha384',
  SHA512: 'sha512',
  BLAKE2b: 'blake2b',
  XXH32: 'xxh32',
  XXH64: 'xxh64',
  XXH3: 'xxh3',
  XXH128: 'xxh128',
};

/** `littleEndian`: the value stands with its bytes reversed (xxhsum --little-endian). */
export function algorithmOfTag(tag: string): { algorithm: Algorithm; littleEndian: boolean } | null {
  const littleEndian = tag.endsWith('_LE');
  const plain = littleEndian ? tag.slice(0, -3) : tag;
  const algorithm = Object.hasOwn(ALGORITHM_BY_TAG, plain) ? (ALGORITHM_BY_TAG[plain] as Algorithm) : null;
  if (algorithm === null || (littleEndian && !algorithm.startsWith('xxh'))) return null;
  return { algorithm, littleEndian };
}

export function reverseBytes(hex: string): string {
  return Buffer.from(hex, 'hex').reverse().toString('hex');
}

/**
 * True when both are the same value of that algorithm. XXH values are written in either byte order (xxhsum
 * --little-endian) and nothing in a plain line says which: that both orders of one value fit different bytes is out of the question.
 */
export function sameValue(
  one: { readonly algorithm: Algorithm; readonly value: string },
  other: string,
): boolean {
  return one.value === other || (one.algorithm.startsWith('xxh') && reverseBytes(one.value) === other);
}
