/** What a clip is recognised by: the digest of its files' names, sizes and checksums. Pure. */
import { createHash } from 'node:crypto';
import { CONTENT_ALGORITHM } from '../files/manifest/hash.ts';
import type { RollFile } from './roll.ts';

/**
 * The algorithm that one file's content is known by: the one that intake computes of every file, so that a manifest
 * which comes later does not make another clip of it.
 */
const ALGORITHMS = [CONTENT_ALGORITHM, 'xxh128', 'sha256', 'sha512', 'sha1', 'c4', 'blake2b', 'xxh64', 'md5'];

/** `algorithm:checksum`. Throws RangeError when the file has none. */
export function checksumOf(file: Pick<RollFile, 'path' | 'hashes'>): string {
  const algorithm =
    ALGORITHMS.find((name) => file.hashes[name] !== undefined) ?? Object.keys(file.hashes).sort()[0];
  if (algorithm === undefined)
    throw new RangeError(`no checksum of ${file.path}: intake reads every file before clips are sought`);
  return `${algorithm}:${file.hashes[algorithm]}`;
}

/** SHA-256 over the sorted list of (path, size, checksum): same content under the same names, same digest. */
export function contentDigest(files: readonly Pick<RollFile, 'path' | 'bytes' | 'hashes'>[]): string {
  const lines = files.map((file) => JSON.stringify([file.path, file.bytes, checksumOf(file)])).sort();
  return createHash('sha256').update(lines.join('\n')).digest('hex');
}
