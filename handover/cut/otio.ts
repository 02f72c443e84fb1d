/**
 * Reads a cut from a timeline in OpenTimelineIO: of every clip in a track of pictures, the frames of its media that are seen, through all that it is nested in.
 * What a parent cuts off is not used; what a transition shows beyond a cut is. Pure.
 */
import { basename } from 'node:path';
import { NAMESPACE } from '../otio/objects.ts';
import { type OtioClip, OtioError, type OtioItem, type OtioParent, readOtio } from '../otio/read.ts';
import { type CountUse, type Cut, type CutUse, quoted } from './form.ts';
import {
  earlier,
  framesIn,
  isBefore,
  later,
  lengthOf,
  minus,
  plus,
  rateOf,
  type Seconds,
  secondsOf,
  startOf,
  times,
  ZERO,
} from './time.ts';

/** A stretch of an item's own time, in seconds from its beginning. */
interface Window {
  readonly from: Seconds;
  readonly to: Seconds;
}

interface Reading {
  readonly uses: CutUse[];
  readonly left: Map<string, number>;
}

/** How the way to an item reads, and what on it keeps its time from being followed. */
interface Way {
  readonly at: string;
  readonly unfollowed: string | null;
}

export function cutOfOtio(text: string): Cut {
  const reading: Reading = { uses: [], left: new Map() };
  const cut = (title: string, found: string | null, line: number | null = null): Cut => ({
    form: 'otio',
    title,
    rate: null,
    uses: found === null ? reading.uses : [],
    left: reading.left,
    faults:
      found === null
        ? []
        : [{ line, found, expected: 'a document in OpenTimelineIO (JSON), whole and by its schemas' }],
  });
  let title = '';
  try {
    const root = readOtio(text.replace(/^\uFEFF/, ''));
    title = 'name' in root ? root.name : '';
    const length = lengthOfItem(root, 'the document');
    visit(reading, root, { from: ZERO, to: length }, { at: 'the document', unfollowed: null });
    if (reading.uses.length === 0 && reading.left.size === 0)
      return cut(title, 'no clip in a track of pictures');
    return cut(title, null);
  } catch (error) {
    if (!(error instanceof OtioError || error instanceof RangeError)) throw error;
    return cut(title, error.message, /^not JSON/.test(error.message) ? brokenLine(text) : null);
  }
}

/** Not every version of Node says where JSON is broken: it is where a beginning of the text is wrong for the first time, and not only cut off. */
function brokenLine(text: string): number | null {
  const isWrong = (length: number): boolean => {
    try {
      JSON.parse(text.slice(0, length));
      return false;
    } catch (error) {
      const { message } = error as Error;
      const position = / position (\d+)/.exec(message)?.[1];
      return position === undefined
        ? !/end of JSON input|Unterminated|end of data/i.test(message)
        : Number(position) < length;
    }
  };
  let [good, bad] = [0, text.length];
  if (!isWrong(bad)) return text.split('\n').length;
  while (bad - good > 1) {
    const middle = Math.floor((good + bad) / 2);
    if (isWrong(middle)) bad = middle;
    else good = middle;
  }
  return text.slice(0, bad).split('\n').length;
}

const leave = ({ left }: Reading, what: string): void => void left.set(what, (left.get(what) ?? 0) + 1);

/** How long it lasts in what it is nested in. */
function lengthOfItem(item: OtioItem, at: string): Seconds {
  if (item.kind === 'transition' || item.kind === 'other') return ZERO;
  if (item.range !== null) return lengthOf(item.range);
  if (item.kind === 'gap') return ZERO;
  if (item.kind === 'clip') {
    const available = item.references.get(item.active)?.available_range ?? null;
    if (available === null)
      throw new OtioError(`${at}, ${quoted(item.name)}: neither a source_range nor an available_range`);
    return lengthOf(available);
  }
  const lengths = item.children.map((child, index) => lengthOfItem(child, `${at}, ${index}`));
  return item.kind === 'track' ? lengths.reduce(plus, ZERO) : lengths.reduce(later, ZERO);
}

function visit(reading: Reading, item: OtioItem, window: Window, way: Way): void {
  if (item.kind === 'gap' || item.kind === 'transition') return;
  if (item.kind === 'other') {
    leave(reading, `items of the schema ${item.schema}`);
    return;
  }
  if ('enabled' in item && !item.enabled) {
    leave(reading, 'items that are switched off');
    return;
  }
  if (item.kind === 'clip') {
    useClip(reading, item, window, way);
    return;
  }
  if (item.kind === 'track' && item.trackKind !== null && item.trackKind !== 'Video') {
    leave(reading, `tracks of ${item.trackKind}`);
    return;
  }
  const effect = item.effects.find(({ schema }) => schema !== 'Effect.1');
  const inside: Way = {
    at: item.name === '' ? way.at : `${way.at}, ${quoted(item.name)}`,
    unfollowed:
      way.unfollowed ??
      (effect === undefined ? null : `${effect.schema} of ${quoted(item.name)}, which holds it`),
  };
  const begins = item.range === null ? ZERO : startOf(item.range);
  const seen: Window = { from: plus(begins, window.from), to: plus(begins, window.to) };
  if (item.kind === 'track') visitTrack(reading, item, seen, inside);
  else
    for (const [index, child] of item.children.entries()) {
      const whole = { from: ZERO, to: lengthOfItem(child, inside.at) };
      // A bin has no time: each of its clips is used whole.
      const part = item.kind === 'collection' ? whole : common(whole, seen);
      if (part !== null) visit(reading, child, part, { ...inside, at: `${inside.at}, item ${index + 1}` });
    }
}

function common(a: Window, b: Window): Window | null {
  const [from, to] = [later(a.from, b.from), earlier(a.to, b.to)];
  return isBefore(from, to) ? { from, to } : null;
}

/** One behind the other; transitions lie over the cuts. */
function visitTrack(reading: Reading, { children }: OtioParent, seen: Window, way: Way): void {
  let begins = ZERO;
  for (const [index, child] of children.entries()) {
    if (child.kind === 'transition') continue;
    const length = lengthOfItem(child, way.at);
    const [before, behind] = [children[index - 1], children[index + 1]];
    const place: Window = {
      from: before?.kind === 'transition' ? minus(begins, secondsOf(before.before)) : begins,
      to: plus(plus(begins, length), behind?.kind === 'transition' ? secondsOf(behind.behind) : ZERO),
    };
    const part = common(place, seen);
    if (part !== null)
      visit(
        reading,
        child,
        { from: minus(part.from, begins), to: minus(part.to, begins) },
        { ...way, at: `${way.at}, item ${index + 1}` },
      );
    begins = plus(begins, length);
  }
}

function useClip(reading: Reading, clip: OtioClip, window: Window, way: Way): void {
  const reference = clip.references.get(clip.active);
  if (reference?.OTIO_SCHEMA === 'GeneratorReference.1') {
    leave(reading, 'generated pictures');
    return;
  }
  const available = reference?.available_range ?? null;
  const range = clip.range ?? available;
  if (range === null)
    throw new OtioError(`${way.at}, ${quoted(clip.name)}: neither a source_range nor an available_range`);
  const rate = rateOf(range.start_time.rate);
  const media = mediaOf(clip, window);
  const begins = startOf(range);
  const [from, to] = [plus(begins, media.from), plus(begins, media.to)];
  const frames = framesIn(from, to, rate);
  const source: CountUse = {
    kind: 'count',
    ...frames,
    rate,
    available:
      available === null
        ? null
        : framesIn(startOf(available), plus(startOf(available), lengthOf(available)), rate),
    unfollowed: way.unfollowed ?? media.unfollowed,
    union: media.union,
    before: Math.max(
      0,
      framesIn(plus(begins, window.from), plus(begins, window.to), rate).start - frames.start,
    ),
  };
  reading.uses.push({ at: `${way.at}, ${quoted(clip.name)}`, line: null, ...namesOf(clip), source });
}

interface MediaWindow extends Window {
  readonly unfollowed: string | null;
  readonly union: string | null;
}

/** What of the media is shown in a stretch of the item's own time. */
function mediaOf({ effects }: OtioClip, window: Window): MediaWindow {
  let { from, to } = window;
  let union: string | null = null;
  for (const { schema, scalar } of effects) {
    if (schema === 'Effect.1') continue;
    if (schema === 'FreezeFrame.1' || scalar === 0) {
      // The first frame of the range, all the time.
      [from, to] = [ZERO, { top: 1n, over: 1_000_000n }];
      union = null;
      continue;
    }
    if (scalar === null) return { from, to, unfollowed: schema, union: null };
    // Some write the range as it is shown, others as it is taken from the media: what either way needs is used. Backwards some begin at its end, and others before its first frame.
    const size = Math.abs(scalar);
    const scaled = [times(from, size), times(to, size)] as const;
    const back = [minus(ZERO, scaled[1]), minus(ZERO, scaled[0])] as const;
    if (scalar < 0) union = `${schema}, ${scalar} times: backwards`;
    const [lows, highs] = [
      [from, scaled[0], ...(scalar < 0 ? [back[0]] : [])],
      [to, scaled[1], ...(scalar < 0 ? [back[1]] : [])],
    ] as const;
    from = lows.reduce(earlier);
    to = highs.reduce(later);
  }
  return { from, to, unfollowed: null, union };
}

function namesOf({
  name,
  metadata,
  references,
  active,
}: OtioClip): Pick<CutUse, 'names' | 'files' | 'reels' | 'ours'> {
  const own = metadata[NAMESPACE] as { roll?: unknown; clip?: unknown; reel?: unknown } | undefined;
  const reference = references.get(active);
  const files: string[] = [];
  if (reference?.OTIO_SCHEMA === 'ExternalReference.1') files.push(fileIn(reference.target_url));
  if (reference?.OTIO_SCHEMA === 'ImageSequenceReference.1')
    files.push(reference.name_prefix.replace(/[._-]+$/, ''));
  if (reference?.OTIO_SCHEMA === 'MissingReference.1' && reference.name !== '') files.push(reference.name);
  return {
    names: name === '' ? [] : [name],
    files: files.filter((file) => file !== ''),
    reels: typeof own?.reel === 'string' ? [own.reel] : [],
    ours:
      typeof own?.roll === 'string' && typeof own.clip === 'string'
        ? { roll: own.roll, clip: own.clip }
        : null,
  };
}

function fileIn(url: string): string {
  const path = url.replace(/[?#].*$/, '').replace(/\/+$/, '');
  try {
    return basename(decodeURIComponent(path));
  } catch {
    return basename(path);
  }
}
