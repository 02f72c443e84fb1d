/**
 * Rolls that hold what another roll holds: one card that was copied under two names. The card that should have been copied
 * may then have no copy at all, and every checksum is right all the same.
 *
 * A card keeps its paths when it is copied: two files are one when path, size and checksum agree.
 */
import { CONTENT_ALGORITHM } from '../../files/manifest/hash.ts';
import { printable } from '../../files/names.ts';
import { isSystemPath } from '../../files/system-files.ts';
import { walkFolder } from '../../files/walk.ts';
import { codeOf } from '../../files/error-code.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { IntakeResult, RollFile } from '../../ledger/roll.ts';
import { type DiscoveredRoll, isMediaName } from '../intake/discover.ts';
import { count } from '../show/words.ts';
import { isSoundFile } from '../survey/sound.ts';

/** What tells the contents of two rolls apart: a key for each media file, with its path. */
export interface Contents {
  /** As it is called to people. */
  readonly name: string;
  readonly keys: ReadonlyMap<string, string>;
}

const isMedia = (path: string): boolean => !isSystemPath(path) && (isMediaName(path) || isSoundFile(path));

const keyOf = (...parts: readonly (string | number)[]): string => JSON.stringify(parts);

/** Of a roll whose media files were all read. */
export function contentsOfRead({ roll, files }: Pick<IntakeResult, 'roll' | 'files'>): Contents {
  const keyed = ({ path, bytes, hashes }: RollFile): readonly [string, string] => [
    keyOf(path, bytes, hashes[CONTENT_ALGORITHM] ?? ''),
    path,
  ];
  return {
    name: printable(roll),
    keys: new Map(files.filter(({ path, bytes }) => bytes > 0 && isMedia(path)).map(keyed)),
  };
}

/** Of one roll against others. A roll of which nothing is known, or without media, repeats nothing. */
export function repeatFindings(roll: string, own: Contents, others: readonly Contents[]): Finding[] {
  if (own.keys.size === 0) return [];
  return others.flatMap((other) => {
    const both = [...own.keys].filter(([key]) => other.keys.has(key));
    const [first] = both;
    if (first === undefined) return [];
    const whole = both.length === own.keys.size;
    return [
      finding(
        whole ? 'roll-repeated' : 'roll-overlaps',
        whole
          ? `all that it holds (${count(both.length, 'media file')}) lies in ${other.name} too`
          : `${count(both.length, 'media file')} of ${own.keys.size} lie in ${other.name} too, the first ${printable(first[1])}`,
        'what no other roll holds',
        { roll },
      ),
    ];
  });
}

/** Of all rolls that a command has read, by roll. */
export function repeatsAmong(
  rolls: readonly Pick<IntakeResult, 'roll' | 'files'>[],
): ReadonlyMap<string, Finding[]> {
  const contents = rolls.map(contentsOfRead);
  return new Map(
    rolls.map(({ roll }, index) => [
      roll,
      repeatFindings(
        roll,
        contents[index] as Contents,
        contents.filter((_, other) => other !== index),
      ),
    ]),
  );
}

/** By names and sizes, before anything is read: which rolls may share files with which. Who shares none need not wait for the other. */
export async function rollsAlike(
  rolls: readonly DiscoveredRoll[],
  signal: AbortSignal,
): Promise<ReadonlyMap<string, readonly string[]>> {
  const alike = new Map<string, Set<string>>(rolls.map(({ name }) => [name, new Set()]));
  const holders = new Map<string, string[]>();
  for (const { name, folder } of rolls)
    for (const key of await namesAndSizes(folder, signal)) {
      const others = holders.get(key) ?? [];
      for (const other of others) {
        alike.get(other)?.add(name);
        alike.get(name)?.add(other);
      }
      holders.set(key, [...others, name]);
    }
  return new Map([...alike].map(([name, others]) => [name, [...others]]));
}

async function namesAndSizes(folder: string, signal: AbortSignal): Promise<string[]> {
  try {
    const { files } = await walkFolder(folder, { signal });
    return files
      .filter(({ path, bytes }) => bytes > 0 && isMedia(path))
      .map(({ path, bytes }) => keyOf(path, bytes));
  } catch (error) {
    signal.throwIfAborted();
    if (codeOf(error) === '') throw error;
    // What cannot be listed is held by verification.
    return [];
  }
}
