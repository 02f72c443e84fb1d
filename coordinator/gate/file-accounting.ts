/** Which files of a roll a clip covers, and which nobody has listed. Pure. */
import { type Clip, type ClipPlace, filesOfPlace } from '../../ledger/clip.ts';
import type { RollFile } from '../../ledger/roll.ts';

/** True when the path (relative to the roll) is one of the clip's files. */
function covers(place: ClipPlace, path: string): boolean {
  if (place.kind !== 'sequence') return filesOfPlace(place).includes(path);
  if (place.sound?.file === path) return true;
  const start = `${place.folder === '' ? '' : `${place.folder}/`}${place.prefix}`;
  if (!path.startsWith(start) || !path.endsWith(place.suffix)) return false;
  const digits = path.slice(start.length, path.length - place.suffix.length);
  if (!/^\d+$/.test(digits)) return false;
  const padded =
    place.padding > 0
      ? digits.length >= place.padding && (digits.length === place.padding || !digits.startsWith('0'))
      : digits === '0' || !digits.startsWith('0');
  const number = Number(digits);
  return padded && number >= place.first && number < place.first + place.count;
}

/** Of every clip its own; stretches of a clip lie in one and the same. */
export function placesOf(clips: readonly Pick<Clip, 'place' | 'stretch'>[]): ClipPlace[] {
  const own = clips.filter(({ stretch }) => stretch === undefined).map(({ place }) => place);
  const shared = clips.filter(({ stretch }) => stretch !== undefined);
  return [...own, ...new Map(shared.map(({ place }) => [JSON.stringify(place), place])).values()];
}

/** True when one of the paths is a file of a clip at this place. */
export function coversAny(place: ClipPlace, paths: readonly string[]): boolean {
  return paths.some((path) => covers(place, path));
}

/** Files that intake read and that are neither part of a clip nor listed as other files: a clip must not be able to vanish between two lists. */
export function unaccountedFiles(
  files: readonly RollFile[],
  clips: readonly Pick<Clip, 'place' | 'stretch'>[],
  otherFiles: readonly string[],
): string[] {
  const reported = new Set(otherFiles);
  const sequences: ClipPlace[] = [];
  for (const place of placesOf(clips)) {
    if (place.kind === 'sequence') sequences.push(place);
    else for (const path of filesOfPlace(place)) reported.add(path);
  }
  return files
    .map((file) => file.path)
    .filter((path) => !reported.has(path) && !sequences.some((place) => covers(place, path)));
}
