/** Names of clips. Pure. */
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
