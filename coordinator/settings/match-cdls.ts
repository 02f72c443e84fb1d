/**
 * Which of the show's CDLs is which clip's. The first rule counts by which any of them is the clip's:
 *
 *   1  clip name: a name of the CDL is that of the clip, `A001C001`, or with its roll, `A001/A001C001`
 *   2  reel and timecode: an event of an edit list has the clip's reel, and its source lies in the clip
 *   3  reel: a name of the CDL is the clip's reel, and the CDL is of no edit
 *
 * Capitals and small letters are the same, and the ending of a file is no part of a name. An event that has the clip's name but whose source
 * lies outside of the clip is of another clip of that name. CDLs of the same numbers are one; of two with others none is taken. Neither is one whose
 * name alone speaks for it, where clips of several rolls have that name. Pure.
 */
import type { ListedCdl } from '../../media/colour/cdl-listed.ts';
import type { LogSpace, WayCdl } from '../../media/colour/way.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { framesPerDay, parseTimecode } from '../../media/time/timecode.ts';

export interface CdlOfList extends ListedCdl {
  /** Name of its file, without folders. */
  readonly file: string;
  readonly sha256: string;
}

export interface CdlList {
  /** As the settings name it. */
  readonly path: string;
  readonly space: LogSpace;
  readonly entries: readonly CdlOfList[];
  /** Names that clips of several rolls of the day have (`nameKey`); absent: nobody has looked. */
  readonly shared?: ReadonlySet<string>;
}

export const matchRules = ['clip name', 'reel and timecode', 'reel'] as const;
export type MatchRule = (typeof matchRules)[number];

export interface CdlMatch {
  readonly rule: MatchRule;
  /** Indices into the entries of the list. */
  readonly entries: readonly number[];
  /** Whether clips of other rolls have the name by which one of them was found. */
  readonly isShared: boolean;
}

export interface ClipToMatch {
  readonly roll: string;
  readonly name: string;
  /** null: it could not be measured. */
  readonly facts: Pick<ClipFacts, 'reel' | 'timecode' | 'video'> | null;
}

const same = (a: string, b: string): boolean =>
  a.trim().normalize('NFC').toLowerCase() === b.trim().normalize('NFC').toLowerCase();
const plain = (name: string): string => name.replace(/\.[A-Za-z0-9]{1,5}$/, '');

/** By which names are compared. */
export const nameKey = (name: string): string => plain(name.trim().normalize('NFC').toLowerCase());
/** Names that a clip may have which the file lies in or is: its own, without a number behind it, and those of its folders. */
export function namesOfPath(path: string): string[] {
  const parts = path.split('/');
  const own = plain(parts.at(-1) ?? '');
  return [...parts.slice(0, -1), own, own.replace(/[._ -]?\d+$/, '')].filter((name) => name !== '');
}

function isNamed({ names }: CdlOfList, { roll, name }: ClipToMatch): boolean {
  const wanted = [name, plain(name), `${roll}/${name}`, `${roll}/${plain(name)}`];
  return names.some((one) => wanted.some((other) => same(one, other)));
}

/** Whether a frame of the event is one of the clip, counted at the clip's own rate; null: one of the two says no timecode that could be compared. */
function liesIn({ span }: CdlOfList, { facts }: ClipToMatch): boolean | null {
  const timecode = facts?.timecode ?? null;
  if (span === null || facts === null || timecode === null) return null;
  const frameOf = (label: string): number | null => {
    try {
      const { drop } = timecode;
      // An edit list says once for all lines below whether labels are dropped; clips at the same rate go by their own.
      return parseTimecode(
        drop ? label.replace(/[:;.,](\d+)$/, ';$1') : label.replace(/[;.,](\d+)$/, ':$1'),
        timecode.base,
      ).frame;
    } catch {
      return null;
    }
  };
  const [from, to] = [frameOf(span.from), frameOf(span.to)];
  if (from === null || to === null) return false;
  const day = framesPerDay(timecode.base, timecode.drop);
  const end = to < from ? to + day : to;
  const start = timecode.frame;
  return from < start + facts.video.frames && Math.max(end, from + 1) > start;
}

/** Reels of edit lists may be cut to eight letters and digits (CMX 3600). */
function isReel(listed: string, reel: string): boolean {
  const bare = reel.replace(/[^A-Za-z0-9]/g, '');
  return same(listed, reel) || (listed.length === 8 && bare.length > 8 && same(listed, bare.slice(0, 8)));
}

/** Whether nothing but a name without its roll says that it is the clip's. */
function isUnsure(entry: CdlOfList | undefined, clip: ClipToMatch): boolean {
  if (entry === undefined || liesIn(entry, clip) === true) return false;
  const whole = [`${clip.roll}/${clip.name}`, `${clip.roll}/${plain(clip.name)}`];
  return !entry.names.some((name) => whole.some((one) => same(one, name)));
}

/** null: none of them is the clip's. */
export function matchCdl(list: CdlList, clip: ClipToMatch): CdlMatch | null {
  const { entries } = list;
  const reel = clip.facts?.reel ?? null;
  const rules: Record<MatchRule, (entry: CdlOfList) => boolean> = {
    'clip name': (entry) => isNamed(entry, clip) && liesIn(entry, clip) !== false,
    'reel and timecode': (entry) =>
      entry.reel !== null && reel !== null && isReel(entry.reel, reel) && liesIn(entry, clip) === true,
    reel: (entry) => entry.span === null && reel !== null && entry.names.some((name) => same(name, reel)),
  };
  for (const rule of matchRules) {
    const found = entries.flatMap((entry, index) => (rules[rule](entry) ? [index] : []));
    if (found.length === 0) continue;
    const isShared =
      rule === 'clip name' &&
      list.shared?.has(nameKey(clip.name)) === true &&
      found.some((index) => isUnsure(entries[index], clip));
    return { rule, entries: found, isShared };
  }
  return null;
}

/** The CDL that a match gives; null: they differ, and none is taken. */
export function cdlOfMatch(list: CdlList, match: CdlMatch): WayCdl | null {
  const found = match.entries.flatMap((index) => list.entries[index] ?? []);
  const [first] = found;
  if (
    match.isShared ||
    first === undefined ||
    found.some(({ values }) => JSON.stringify(values) !== JSON.stringify(first.values))
  )
    return null;
  const { values, file, sha256, id } = first;
  return { values, space: list.space, from: { file, sha256, id } };
}

export const cdlPlace = ({ file, place }: CdlOfList): string => `${file}, ${place}`;

/** What of the show's CDLs became whose, for people and programs. */
export interface CdlListing {
  readonly path: string;
  readonly cdls: readonly {
    readonly cdl: string;
    readonly clips: readonly { readonly roll: string; readonly clip: string; readonly rule: MatchRule }[];
  }[];
  /** Clips of which several CDLs with other numbers are. */
  readonly twice: readonly {
    readonly roll: string;
    readonly clip: string;
    readonly rule: MatchRule;
    readonly cdls: readonly string[];
  }[];
  readonly without: readonly { readonly roll: string; readonly clip: string }[];
}

export function cdlListing(list: CdlList, clips: readonly ClipToMatch[]): CdlListing {
  const matches = clips.map((clip) => ({ clip, match: matchCdl(list, clip) }));
  return {
    path: list.path,
    cdls: list.entries.map((entry, index) => ({
      cdl: cdlPlace(entry),
      clips: matches.flatMap(({ clip, match }) =>
        match?.entries.includes(index) ? [{ roll: clip.roll, clip: clip.name, rule: match.rule }] : [],
      ),
    })),
    twice: matches.flatMap(({ clip, match }) =>
      match === null || cdlOfMatch(list, match) !== null
        ? []
        : [
            {
              roll: clip.roll,
              clip: clip.name,
              rule: match.rule,
              cdls: match.entries.flatMap((index) => {
                const entry = list.entries[index];
                return entry === undefined ? [] : [cdlPlace(entry)];
              }),
            },
          ],
    ),
    without: matches.flatMap(({ clip, match }) =>
      match === null ? [{ roll: clip.roll, clip: clip.name }] : [],
    ),
  };
}
