/** Names and digests of clips. Pure. */
import { createHash } from 'node:crypto';
import type { RollFile } from '../../ledger/roll.ts';
import { CONTENT_ALGORITHM } from '../../files/manifest/hash.ts';
import { nameToBytes } from '../../files/names.ts';

/** Bytes of UTF-8; leaves room for suffixes within the 255 that file systems allow. */
const LONGEST_ID = 120;
/** Longer than this a suffix would tell nothing more. */
const HASH_DIGITS = 8;
/** What some file system or shell refuses or reads as something else: `<>:"/\|?*`, `%`, control and format characters, lone surrogates, separators. */
const UNSAFE = /[<>:"/\\|?*%\p{C}\p{Zl}\p{Zp}]/gu;
const RESERVED = /^(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\.|$)/i;

function safeName(name: string): string {
  let safe = name
    .normalize('NFC')
    .replaceAll(UNSAFE, '_')
    .replace(/[. ]+$/, (end) => '_'.repeat(end.length))
    .replace(/^[-. ]/, '_');
  if (RESERVED.test(safe)) safe = `_${safe}`;
  return safe === '' ? '_' : safe;
}

/** At most `limit` bytes of UTF-8, cut between characters. */
function cut(text: string, limit: number): string {
  let out = '';
  let bytes = 0;
  for (const character of text) {
    bytes += Buffer.byteLength(character);
    if (bytes > limit) break;
    out += character;
  }
  return out;
}

/** Names that some file system takes for the same: normal form, then letters without case. */
export function collisionKey(name: string): string {
  return name.normalize('NFC').toUpperCase().toLowerCase().normalize('NFC');
}

function withHash(safe: string, path: string, digits: number): string {
  const hash = createHash('sha256').update(nameToBytes(path)).digest('hex').slice(0, digits);
  return `${cut(safe, LONGEST_ID - digits - 1)}-${hash}`;
}

/**
 * One id for each clip: safe as part of a file name everywhere, unique in the roll also where case and Unicode form do
 * not count. A name that had to be changed, or that two clips share, gets a short hash of its path, so that the
 * same roll gives the same ids whatever the order.
 */
export function clipIds(clips: readonly { readonly name: string; readonly path: string }[]): string[] {
  const counted = new Map<string, number>();
  for (const { name } of clips) {
    const key = collisionKey(safeName(name));
    counted.set(key, (counted.get(key) ?? 0) + 1);
  }
  for (let digits = HASH_DIGITS; ; digits *= 2) {
    const ids = clips.map(({ name, path }) => {
      const safe = safeName(name);
      const kept =
        safe === name.normalize('NFC') &&
        Buffer.byteLength(safe) <= LONGEST_ID &&
        counted.get(collisionKey(safe)) === 1;
      return kept ? safe : withHash(safe, path, digits);
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
