/**
 * Which clips of the day a use of a cut names: by a document of ours, by the names of files, by the name of the clip, by its reel. A reel is what the cut
 * says, or what is left of it where a list has eight characters: by the rule of our own lists, or its first ones. Pure.
 */
import { printable } from '../../files/names.ts';
import type { CutUse } from '../../handover/cut/form.ts';
import { shortReels } from '../../handover/edl/reels.ts';
import type { PullClip } from './form.ts';

export interface Named {
  readonly clips: readonly PullClip[];
  /** Whether a name leads to them, and not their reel alone. */
  readonly byName: boolean;
  /** Name and reel lead to different clips; null: they do not. */
  readonly contradiction: string | null;
}

/** What lists keep of a long name. */
const SHORT = 8;

const same = (text: string): string => text.normalize('NFC').trim().toLowerCase();
/** Media and frames have an extension; a clip's own name may have a point in it. */
const stem = (text: string): string => text.replace(/\.[A-Za-z0-9]{2,5}$/, '');
const plain = (reel: string): string => reel.toUpperCase().replaceAll(/[^A-Z0-9]/g, '');

export function clipsNamed(
  { names, files, reels, ours }: Pick<CutUse, 'names' | 'files' | 'reels' | 'ours'>,
  clips: readonly PullClip[],
): Named {
  const one = (found: readonly PullClip[]): Named => ({ clips: found, byName: true, contradiction: null });
  const own = ours === null ? [] : clips.filter(({ roll, clip }) => roll === ours.roll && clip === ours.clip);
  if (own.length > 0) return one(own);
  const byFile = namedBy(files, clips);
  const byName = byFile.length > 0 ? byFile : namedBy(names, clips);
  const byReel = clips.filter((clip) => reels.some((reel) => isReelOf(reel, clip, clips)));
  if (byName.length === 0) return { clips: byReel, byName: false, contradiction: null };
  if (reels.length === 0) return one(byName);
  const both = byName.filter((clip) => byReel.includes(clip));
  if (both.length > 0) return one(both);
  const [named] = byName;
  return {
    clips: [],
    byName: true,
    contradiction: `it is called as ${printable(named?.name ?? '')} of the reel ${printable(named?.reels[0] ?? '')}, and says reel ${printable(reels[0] ?? '')}`,
  };
}

function namedBy(names: readonly string[], clips: readonly PullClip[]): PullClip[] {
  const wanted = new Set(names.flatMap((name) => [same(name), same(stem(name))]));
  return clips.filter(({ name, clip, files }) =>
    [name, clip, ...files, ...files.map(stem)].some((text) => wanted.has(same(text))),
  );
}

const shortened = new WeakMap<readonly PullClip[], Map<string, string>>();
/** Of every reel of the day, as our lists have it. */
function shortOf(clips: readonly PullClip[]): Map<string, string> {
  const known = shortened.get(clips) ?? shortReels(clips.flatMap(({ reels }) => reels));
  shortened.set(clips, known);
  return known;
}

function isReelOf(reel: string, { reels, name, files }: PullClip, clips: readonly PullClip[]): boolean {
  const short = shortOf(clips);
  if (reels.some((own) => same(own) === same(reel) || short.get(own) === reel.toUpperCase())) return true;
  // Others cut a long name off, or write the file's in its place.
  const wanted = plain(reel);
  const long = [...reels, name, ...files.map(stem)].map(plain);
  return (
    wanted !== '' && long.some((own) => own === wanted || (wanted.length === SHORT && own.startsWith(wanted)))
  );
}
