/**
 * From a cut to frames: which clip of the day each use shows, which of its frames, and the stretches that are to be made. A use leads to a clip by name or by reel,
 * and by its frames; by timecode alone to none, since clips of other reels have the same. What is not certain is said, and never guessed. Pure.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { type Cut, type CutUse, quoted } from '../../handover/cut/form.ts';
import type { Rate } from '../../media/time/rate.ts';
import { formatTimecode, addFrames } from '../../media/time/timecode.ts';
import type { PullClip, PullRange, PullUse } from './form.ts';
import { type FramesShown, framesOfUse } from './frames.ts';
import { clipsNamed } from './match.ts';

export interface PullRequest {
  readonly cut: Pick<Cut, 'rate' | 'uses'>;
  readonly clips: readonly PullClip[];
  /** Rolls whose clips are not all known: whether the cut uses them nobody can say. */
  readonly unread: readonly string[];
  readonly handles: number;
  /** That the labels of a list count in, as the user states it. */
  readonly rate: Rate | null;
  /** Of the document, for findings. */
  readonly file: string;
}

export interface Pull {
  readonly ranges: readonly PullRange[];
  readonly uses: readonly PullUse[];
  readonly findings: readonly Finding[];
}

type Led = ({ readonly clip: PullClip } & FramesShown) | { readonly finding: Finding };

export function resolvePull(request: PullRequest): Pull {
  const { cut, clips, handles } = request;
  const findings: Finding[] = [];
  const uses: PullUse[] = [];
  const taken: PullRange[] = [];
  for (const use of cut.uses) {
    const led = ledTo(use, request);
    if ('finding' in led) {
      findings.push(led.finding);
      uses.push({ at: use.at, roll: null, clip: null, start: null, frames: null });
      continue;
    }
    const there = withoutSpare(led);
    const { clip, start, frames, union } = there;
    uses.push({
      ...{ at: use.at, roll: clip.roll, clip: clip.clip, start, frames },
      ...(union === null ? {} : { union }),
    });
    if (union !== null)
      findings.push(
        finding(
          'pull-speed-union',
          `${use.at} of ${clipText(clip)}: ${union}; ${frames} frames, from ${formatTimecode(addFrames(clip.start, start))} on`,
          'cuts, and one speed forwards',
          { file: request.file },
        ),
      );
    const outside = outsideOf(use, there, request);
    if (outside !== null) findings.push(outside);
    const [from, to] = [Math.max(0, start - handles), Math.min(clip.frames, start + frames + handles)];
    if (from < to) taken.push({ roll: clip.roll, clip: clip.clip, start: from, frames: to - from });
  }
  return { ranges: joined(taken, clips), uses, findings };
}

/** Frames that one reading alone needs, and that the clip lacks: there it was not read so. */
function withoutSpare<Shown extends { readonly clip: PullClip } & FramesShown>(led: Shown): Shown {
  const { clip, start, frames, spareBefore, spareBehind } = led;
  const before = Math.min(spareBefore, Math.max(0, -start));
  const behind = Math.min(spareBehind, Math.max(0, start + frames - clip.frames));
  return { ...led, start: start + before, frames: frames - before - behind };
}

/** In the order of the day's clips; those of a clip that overlap or touch are one. */
function joined(taken: readonly PullRange[], clips: readonly PullClip[]): PullRange[] {
  return clips.flatMap(({ roll, clip }) => {
    const ranges: PullRange[] = [];
    const own = taken
      .filter((range) => range.roll === roll && range.clip === clip)
      .sort((a, b) => a.start - b.start);
    for (const range of own) {
      const last = ranges.at(-1);
      if (last === undefined || last.start + last.frames < range.start) ranges.push(range);
      else {
        const end = Math.max(last.start + last.frames, range.start + range.frames);
        ranges[ranges.length - 1] = { ...last, frames: end - last.start };
      }
    }
    return ranges;
  });
}

function ledTo(use: CutUse, request: PullRequest): Led {
  const { clips, unread, file } = request;
  const about = { file };
  const named = clipsNamed(use, clips);
  if (named.contradiction !== null)
    return {
      finding: finding(
        'pull-clip-ambiguous',
        `${use.at}: ${named.contradiction}`,
        'a name and a reel of one clip',
        about,
      ),
    };
  const places = named.clips.map((clip) => ({ clip, at: framesOfUse(use, clip, request) }));
  const there = places.flatMap(({ clip, at }) => ('why' in at ? [] : [{ clip, ...at }]));
  const seen = there.filter(({ clip, start, frames }) => start < clip.frames && start + frames > 0);
  const whole = seen.filter((one) => {
    const { clip, start, frames } = withoutSpare(one);
    return start >= 0 && start + frames <= clip.frames;
  });
  const candidates = whole.length > 0 ? whole : seen;
  const [first, second] = candidates;
  if (second !== undefined)
    return {
      finding: finding(
        'pull-clip-ambiguous',
        `${use.at}: ${candidates.map(({ clip }) => clipText(clip)).join(' or ')}, both of that name and timecode`,
        'one clip',
        about,
      ),
    };
  if (first !== undefined) return first;
  const [unfollowed] = places.flatMap(({ clip, at }) => ('why' in at ? [{ clip, ...at }] : []));
  if (unfollowed !== undefined)
    return {
      finding: finding(
        'pull-not-followed',
        `${use.at} of ${clipText(unfollowed.clip)}: ${unfollowed.why}`,
        unfollowed.expected,
        about,
      ),
    };
  const [named1] = named.byName ? there : [];
  if (named1 !== undefined)
    return {
      finding: finding(
        'pull-frames-outside',
        `${use.at}: ${saidOf(use)}, none of which ${clipText(named1.clip)} has`,
        spanText(named1.clip),
        about,
      ),
    };
  const reels = there.map(({ clip }) => clipText(clip));
  return {
    finding: finding(
      'pull-clip-absent',
      `${use.at}: ${saidOf(use)}${reels.length === 0 ? '' : `; of that reel the day has ${few(reels)}, at other times`}`,
      `a clip of the day${unread.length === 0 ? '' : `; of ${few(unread.map(printable))} not all clips are known`}`,
      about,
    ),
  };
}

const MOST = 4;
const few = (texts: readonly string[]): string =>
  texts.length <= MOST
    ? texts.join(', ')
    : `${texts.slice(0, MOST).join(', ')} and ${texts.length - MOST} more`;

const clipText = ({ roll, name }: PullClip): string => `${printable(name)} of ${printable(roll)}`;

const spanText = ({ start, frames }: PullClip): string =>
  `frames from ${formatTimecode(start)} to before ${formatTimecode(addFrames(start, frames))}`;

/** As the cut says it. */
function saidOf({ names, files, reels, source }: CutUse): string {
  const by = [
    ...[...new Set([...names, ...files])].slice(0, 2).map(quoted),
    ...reels.slice(0, 1).map((reel) => `reel ${quoted(reel)}`),
  ];
  const where =
    source.kind === 'labels'
      ? `${source.in} to ${source.out}`
      : `frames ${source.start} to ${source.start + source.frames - 1}`;
  return `${by.length === 0 ? 'no name and no reel' : by.join(', ')}, ${where}`;
}

/** Some of what is shown is not in the clip: what is there is made all the same. */
function outsideOf(
  use: CutUse,
  { clip, start, frames }: Exclude<Led, { readonly finding: Finding }>,
  { file }: PullRequest,
): Finding | null {
  const before = Math.max(0, -start);
  const behind = Math.max(0, start + frames - clip.frames);
  if (before + behind === 0) return null;
  return finding(
    'pull-frames-outside',
    `${use.at}: ${before + behind} of ${frames} frames lie ${before > 0 && behind > 0 ? 'before and behind' : before > 0 ? 'before' : 'behind'} ${clipText(clip)}`,
    spanText(clip),
    { file },
  );
}
