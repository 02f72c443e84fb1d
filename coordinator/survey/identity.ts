/** Names and digests of clips. Pure. */
import { createHash } from 'node:crypto';
import type { RollFile } from '../../ledger/roll.ts';
import { CONTENT_ALGORITHM } from '../../files/manifest/hash.ts';
import { collisionKey, safeName, withDigest } from '../../files/safe-names.ts';

/** Bytes of UTF-8; leaves room for suffixes within the 255 that file systems allow. */
const LONGEST_ID = 120;
/** Longer than this a suffix would tell nothing more. */
const HASH_DIGITS = 8;
/** `%` as well: ids become part of patterns of file names. */
const idOf = (name: string): string => safeName(name.replaceAll('%', '_'));

/**
 * One id for each clip: safe as part of a file name everywhere, unique in the roll also where case and Unicode form do
 * not count. A name that had to be changed, or that two clips share, gets a short hash of its path, so that the
 * same roll gives the same ids whatever the order.
 */
export function clipIds(clips: readonly { readonly name: string; readonly path: string }[]): string[] {
  const counted = new Map<string, number>();
  for (const { name } of clips) {
    const key = collisionKey(idOf(name));
    counted.set(key, (counted.get(key) ?? 0) + 1);
  }
  for (let digits = HASH_DIGITS; ; digits *= 2) {
    const ids = clips.map(({ name, path }) => {
      const safe = idOf(name);
      const kept =
        safe === name.normalize('NFC') &&
        Buffer.byteLength(safe) <= LONGEST_ID &&
        counted.get(collisionKey(safe)) === 1;
      return kept ? safe : withDigest(safe, path, LONGEST_ID, digits);
    });
    // A name may look like another one's hash; then longer hashes part them.
    if (new Set(ids.map(collisionKey)).size === ids.length || digits >= 64) return ids;
  }
}

/**
 * The algorithm that one file's content is known by: the one that intake computes of every file, so that a manifest
 * which comes later does not make another clip of it.
 */
const ALGORITHMS = [CONTENT_ALGORITHM, 'xxh128', 'sha256', 'sha512', 'sha1', 'c4', 'blake2b', 'xxh64', 'md5'];

function checksumOf(file: RollFile): string {
  const algorithm =
    ALGORITHMS.find((name) => file.hashes[name] !== undefined) ?? Object.keys(file.hashes).sort()[0];
  if (algorithm === undefined)
    throw new RangeError(`no checksum of ${file.path}: intake reads every file before clips are sought`);
  return `${algorithm}:${file.hashes[algorithm]}`;
}

/** SHA-256 over the sorted list of (path, size, checksum): same content under the same names, same digest. */
export function contentDigest(files: readonly RollFile[]): string {
  const lines = files.map((file) => JSON.stringify([file.path, file.bytes, checksumOf(file)])).sort();
  return createHash('sha256').update(lines.join('\n')).digest('hex');
}
