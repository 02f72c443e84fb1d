/** The file name of a deliverable, from the profile's template: safe on every file system that a delivery may be carried to. */
import { printable } from '../../files/names.ts';
import { LONGEST_NAME, safeName, withDigest } from '../../files/safe-names.ts';
import { formatTimecode, type Timecode } from '../../media/time/timecode.ts';

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
  const most = LONGEST_NAME - extension.length - 1;
  const safe = safeName(whole);
  return `${Buffer.byteLength(safe) <= most ? safe : withDigest(safe, whole, most)}.${extension}`;
}

/** Reel names go into a field of the file and into edit lists: one line of text. */
export function reelText(name: string): string {
  return printable(name.normalize('NFC')).trim();
}
