/**
 * Names that we give: what every file system takes that a delivery may be carried to, and which names one of them would
 * take for the same. The only place that knows either. Pure.
 */
import { createHash } from 'node:crypto';
import { nameToBytes } from './names.ts';

/** Bytes of UTF-8 that we give a name: file systems take 255, and the rest is for those who add to names. */
export const LONGEST_NAME = 200;

/**
 * Refused by Windows and SMB (`<>:"/\|?*`); control and format characters, marks that turn the writing direction,
 * separators of lines, private and unassigned characters, and bytes that are not text.
 */
const UNSAFE = /[<>:"/\\|?*\p{C}\p{Zl}\p{Zp}]/gu;
/** Names of devices on Windows, whatever the extension (Microsoft, "Naming Files, Paths, and Namespaces"). */
const DEVICE = /^(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])$/i;

const underscores = (text: string): string => '_'.repeat(text.length);

/**
 * In NFC, `_` for each unsafe character. No leading dot (hidden), hyphen (an option to programs) or space, no trailing dot
 * or space (dropped by Windows), no name of a device, never empty. Of any length. What it gives it gives back unchanged.
 */
export function safeName(text: string): string {
  const safe = text
    .normalize('NFC')
    .replaceAll(UNSAFE, '_')
    .replace(/^[.\-\s]+/u, underscores)
    .replace(/[.\s]+$/u, underscores);
  if (safe === '') return '_';
  const [stem = ''] = safe.split('.');
  return DEVICE.test(stem.trim()) ? `_${safe}` : safe;
}

/** At most `most` bytes of UTF-8, cut between characters as people see them. */
function cutToBytes(text: string, most: number): string {
  if (Buffer.byteLength(text) <= most) return text;
  let kept = '';
  for (const { segment } of new Intl.Segmenter('und', { granularity: 'grapheme' }).segment(text)) {
    if (Buffer.byteLength(kept) + Buffer.byteLength(segment) > most) break;
    kept += segment;
  }
  return kept;
}

/**
 * `name`, cut where it must be, and behind it some hexadecimal digits of the SHA-256 of `whole`: two things whose names
 * were changed into one stay two. At most `most` bytes in all.
 */
export function withDigest(name: string, whole: string, most: number, digits = 8): string {
  const digest = createHash('sha256').update(nameToBytes(whole)).digest('hex').slice(0, digits);
  // One character can be longer than all that is left: then nothing of it is kept, and no name begins with a hyphen.
  return `${cutToBytes(name, most - digits - 1) || '_'}-${digest}`;
}

/**
 * Equal keys: one file on some file system, which takes `A` for `a` or one spelling of an accent for the other. NFC and
 * full case folding, as near as the language has it.
 */
export function collisionKey(name: string): string {
  return name.normalize('NFC').toUpperCase().toLowerCase().normalize('NFC');
}

/** Items of which two or more would have one name somewhere, each group in the order given. */
export function collisions<Item>(items: Iterable<Item>, nameOf: (item: Item) => string): Item[][] {
  const groups = new Map<string, Item[]>();
  for (const item of items) {
    const key = collisionKey(nameOf(item));
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [item]);
    else group.push(item);
  }
  return [...groups.values()].filter((group) => group.length > 1);
}
