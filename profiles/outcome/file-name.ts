/** The file name of a deliverable, from the profile's template: safe on every file system that a delivery may be carried to. */
import { createHash } from 'node:crypto';
import { nameToBytes, printable } from '../../files/names.ts';
import { formatTimecode, type Timecode } from '../../media/time/timecode.ts';

/** Bytes of a name in all: 255 is what file systems take; the rest is for those who add to names. */
const LONGEST = 200;

/** Names of devices on Windows, whatever the extension (Microsoft, "Naming Files, Paths, and Namespaces"). */
const DEVICE = /^(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])$/i;

/**
 * NFC; what Windows and SMB refuse, control characters, marks that turn the writing direction and bytes that are not
 * text become `_`. No leading dot (hidden) or hyphen (an option to programs), no trailing dot or space (dropped by Windows).
 */
export function cleaned(text: string): string {
  const safe = text
    .normalize('NFC')
    .replace(/[\ud800-\udfff]/gu, '_')
    // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is replaced.
    .replace(/[<>:"/\\|?*\u0000-\u001f\u007f-\u009f\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]/gu, '_')
    .replace(/^[.\-\s]+/u, (start) => '_'.repeat(start.length))
    .replace(/[.\s]+$/u, (end) => '_'.repeat(end.length));
  const stem = safe.split('.')[0] ?? '';
  return DEVICE.test(stem.trim()) ? `_${safe}` : safe;
}

/** Cut at a character, ending in a checksum of the whole, so that two long names that differ at the end stay two. */
function shortened(name: string, whole: string, longest: number): string {
  if (Buffer.byteLength(name) <= longest) return name;
  const mark = `~${createHash('sha256').update(nameToBytes(whole)).digest('hex').slice(0, 8)}`;
  let kept = '';
  for (const { segment } of new Intl.Segmenter('und', { granularity: 'grapheme' }).segment(name)) {
    if (Buffer.byteLength(kept) + Buffer.byteLength(segment) + mark.length > longest) break;
    kept += segment;
  }
  return `${kept}${mark}`;
}

export interface NameParts {
  readonly clip: string;
  readonly roll: string;
  readonly reel: string;
  readonly day: string;
  readonly profile: string;
  readonly timecode: Timecode;
}

export function fileNameOf(template: string, parts: NameParts, extension: string): string {
  const { timecode, ...texts } = parts;
  const values: Readonly<Record<string, string>> = {
    ...texts,
    timecode: formatTimecode(timecode).replaceAll(/[:;]/g, '-'),
  };
  const whole = template.replace(/\{([a-z]+)\}/g, (match, name: string) => values[name] ?? match);
  return `${shortened(cleaned(whole), whole, LONGEST - extension.length - 1)}.${extension}`;
}

/** Reel names go into a field of the file and into edit lists: one line of text. */
export function reelText(name: string): string {
  return printable(name.normalize('NFC')).trim();
}
