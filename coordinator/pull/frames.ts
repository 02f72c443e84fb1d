/**
 * Which frames of a clip a use of a cut shows, counted from 0: by the labels that its proxies and masters carry, or by count. Where speed, counting or lengths do
 * not fit together, it says so. Pure.
 */
import type { CountUse, CutUse, LabelUse, SpeedFrom } from '../../handover/cut/form.ts';
import { labelAtRate } from '../../media/time/off-speed.ts';
import { formatRatio, multiplyRatios, type Rate, ratio, timecodeBase } from '../../media/time/rate.ts';
import { framesPerDay, mayDrop, parseTimecode, type Timecode } from '../../media/time/timecode.ts';
import type { PullClip } from './form.ts';

export interface FramesShown {
  readonly start: number;
  readonly frames: number;
  /** What runs backwards or changes its speed, in words: these are all frames that any reading of it needs. null: cuts, and one speed forwards. */
  readonly union: string | null;
  /** How many at the beginning one of the readings alone needs: the clip may lack them. */
  readonly spareBefore: number;
  /** Likewise at the end. */
  readonly spareBehind: number;
}

export type FramesOfUse = FramesShown | { readonly why: string; readonly expected: string };

const plainly = (start: number, frames: number): FramesShown => ({
  ...{ start, frames, union: null },
  ...{ spareBefore: 0, spareBehind: 0 },
});

/** What is known of the list besides. */
export interface Counting {
  readonly cut: { readonly rate: Rate | null };
  readonly rate: Rate | null;
}

/** Above it, labels may count pairs of frames. */
const SINGLE = 30;

export function framesOfUse({ source }: CutUse, clip: PullClip, counting: Counting): FramesOfUse {
  if (clip.slowed === true)
    return {
      why: 'the clip is interlaced and played at another rate than it was recorded at: whether the cut counts its frames or its fields cannot be told',
      expected: 'a whole master of it',
    };
  const stated = source.kind === 'count' ? source.rate : (counting.rate ?? counting.cut.rate);
  if (stated !== null && countsFields(stated, clip))
    return ofFields(framesThere(source, inFields(clip), counting));
  return framesThere(source, clip, counting);
}

/** A cut of proxies that have a frame of each field, which runs at twice the rate of the clip. */
const countsFields = (stated: Rate, { fields = false, start }: PullClip): boolean =>
  fields && timecodeBase(stated) === 2 * start.base;

/** As those proxies have it: frames 2k and 2k + 1 are the fields of frame k. */
function inFields({ fields: _, ...clip }: PullClip): PullClip {
  const rate = multiplyRatios(clip.rate, ratio(2));
  return { ...clip, rate, frames: 2 * clip.frames, start: labelAtRate(clip.start, rate) };
}

/** A field is of a whole frame. */
function ofFields(shown: FramesOfUse): FramesOfUse {
  if ('why' in shown) return shown;
  const start = Math.floor(shown.start / 2);
  return {
    ...{ start, frames: Math.ceil((shown.start + shown.frames) / 2) - start, union: shown.union },
    ...{ spareBefore: Math.ceil(shown.spareBefore / 2), spareBehind: Math.ceil(shown.spareBehind / 2) },
  };
}

function framesThere(source: CutUse['source'], clip: PullClip, counting: Counting): FramesOfUse {
  return source.kind === 'count' ? framesCounted(source, clip) : framesLabelled(source, clip, counting);
}

const fromStart = (frame: number, clip: PullClip): number => signed(frame - clip.start.frame, clip);

function framesCounted(
  { start, frames, rate, available, unfollowed, union, before }: CountUse,
  clip: PullClip,
): FramesOfUse {
  if (unfollowed !== null)
    return { why: `${unfollowed} cannot be followed`, expected: 'cuts, and speeds of one clip' };
  // The same labels, whether a second is 24 frames or 24000/1001 of them.
  if (timecodeBase(rate) !== clip.start.base)
    return {
      why: `it counts ${formatRatio(rate)} frames a second, and the clip ${formatRatio(clip.rate)}`,
      expected: 'times at the rate of the clip',
    };
  // Media without timecode begin at 0: where the document says that it has all of the clip, its frames are known.
  if (
    available !== null &&
    available.start === 0 &&
    clip.start.frame !== 0 &&
    available.frames === clip.frames
  )
    return { ...plainly(start, frames), union, spareBefore: before };
  return { ...plainly(fromStart(start, clip), frames), union, spareBefore: before };
}

function framesLabelled(use: LabelUse, clip: PullClip, { cut, rate: stated }: Counting): FramesOfUse {
  const rate = stated ?? cut.rate;
  const { base } = clip.start;
  if (rate !== null && timecodeBase(rate) !== base)
    return {
      why: `the list counts ${formatRatio(rate)} frames a second, and the clip is played at ${formatRatio(clip.rate)}`,
      expected: 'labels at the rate of the clip',
    };
  if (rate === null && base > SINGLE)
    return {
      why: `the clip is played at ${formatRatio(clip.rate)} frames a second, where labels may count pairs, and the list does not say what it counts in`,
      expected: 'the rate that its labels count in, with --cut-rate',
    };
  if (rate === null && clip.fields === true)
    return {
      why: `the clip is interlaced, its proxies may have a frame of each field, and the list does not say what its labels count`,
      expected: `the rate that its labels count in, with --cut-rate: ${formatRatio(clip.rate)}, or twice that for fields`,
    };
  try {
    const from = labelOf(use.in, clip.start);
    const shown = between(from, labelOf(use.out, clip.start));
    const ran = recorded(use, rate ?? clip.rate);
    const run: Run = { from, shown, ran };
    const changing = changes(use, from, clip);
    if (changing) return unionOf(use, run, clip, rate ?? clip.rate);
    const frames = lengthOf(use, run, rate ?? clip.rate);
    return 'why' in frames ? frames : plainly(fromStart(from.frame, clip), frames.frames + use.longer);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return { why: error.message, expected: 'labels that the clip can have' };
  }
}

/** Of the clip's own counting; what the list says with a semicolon must be so. Throws RangeError. */
function labelOf(label: string, { base, drop }: Timecode): Timecode {
  const [clock, mark, field] = [label.slice(0, 8), label.slice(8, 9), label.slice(9)];
  if (mark !== ':' && !drop) throw new RangeError(`${label} is a label of drop-frame, and the clip has none`);
  const text = `${clock.replaceAll(/[;.]/g, ':')}${drop ? ';' : ':'}${field}`;
  return parseTimecode(text, base);
}

function between(from: Timecode, to: Timecode): number {
  const day = framesPerDay(from.base, from.drop);
  return (to.frame - from.frame + day) % day;
}

/** Frames that it runs in the list, by the list's own counting. */
function recorded({ recordIn, recordOut, drop }: LabelUse, rate: Rate): number {
  const base = timecodeBase(rate);
  const drops = (drop || /[;.,]\d+$/.test(recordIn)) && mayDrop(rate);
  const [from, to] = [recordIn, recordOut].map((label) =>
    labelOf(drops ? label : label.replace(/[;.,](\d+)$/, ':$1'), { frame: 0, base, drop: drops }),
  ) as [Timecode, Timecode];
  return between(from, to);
}

interface Run {
  readonly from: Timecode;
  /** Frames from source in to source out, and from record in to record out. */
  readonly shown: number;
  readonly ran: number;
}

/** Of a second that is a frame in a thousand longer: 24000/1001 and the like. */
const NEAR = 0.002;

/** Backwards, or not one speed from the first frame on. Throws RangeError for a label that the clip cannot have. */
function changes({ speeds }: LabelUse, from: Timecode, { start }: PullClip): boolean {
  const isAtStart = ({ from: label }: SpeedFrom): boolean =>
    label === null || labelOf(label, start).frame === from.frame;
  return speeds.length > 1 || speeds.some((speed) => speed.framesPerSecond < 0 || !isAtStart(speed));
}

/**
 * From the first to the last frame that is shown, however the list is read: from source in on at the speed of the clip, from each label on at the speed that its M2 line says, for as long as the event runs.
 * Backwards some begin at the label, and others at source out.
 */
function unionOf(use: LabelUse, { from, shown, ran }: Run, clip: PullClip, rate: Rate): FramesShown {
  const played = [...use.speeds].map(({ framesPerSecond, from: label }) => ({
    factor: Math.max(
      Math.abs(framesPerSecond) / timecodeBase(rate),
      Math.abs(framesPerSecond) / (rate.num / rate.den),
    ),
    isBack: framesPerSecond < 0,
    at: label === null ? 0 : signed(labelOf(label, clip.start).frame - from.frame, clip),
  }));
  let [low, high, left, at, factor] = [0, shown, ran, 0, 1];
  for (const speed of played) {
    // What ran until there; of a freeze nobody knows how long it stood.
    left = Math.max(0, left - (factor === 0 ? 0 : Math.abs(speed.at - at) / factor));
    [at, factor] = [speed.at, speed.factor];
    low = Math.min(low, at);
    high = Math.max(high, at);
    const reach = Math.ceil(left * factor);
    if (speed.isBack) low = Math.min(low, at - reach, shown - reach);
    else high = Math.max(high, at + reach);
  }
  const words = use.speeds
    .map(
      ({ framesPerSecond, from: label }) =>
        `${framesPerSecond} frames a second${label === null ? '' : ` from ${label} on`}`,
    )
    .join(', ');
  return {
    start: fromStart(from.frame, clip) + low,
    frames: high - low + use.longer,
    union: words,
    spareBefore: -low,
    spareBehind: high - shown,
  };
}

/** From midnight to midnight, the nearer way. */
function signed(frames: number, { start }: PullClip): number {
  const day = framesPerDay(start.base, start.drop);
  const away = ((frames % day) + day) % day;
  return away > day / 2 ? away - day : away;
}

function lengthOf(
  use: LabelUse,
  { shown, ran }: Run,
  rate: Rate,
): { readonly frames: number } | Extract<FramesOfUse, { readonly why: string }> {
  const [speed] = use.speeds;
  if (speed === undefined)
    return shown === ran
      ? { frames: shown }
      : {
          why: `${shown} frames of the source run over ${ran} of the list, and no M2 line says how`,
          expected: 'equally many, or an M2 line',
        };
  const { framesPerSecond } = speed;
  if (framesPerSecond === 0) return { frames: 1 };
  const factor = framesPerSecond / timecodeBase(rate);
  const exact = framesPerSecond / (rate.num / rate.den);
  if (Math.abs(factor - 1) < NEAR || Math.abs(exact - 1) < NEAR)
    return shown === ran
      ? { frames: shown }
      : {
          why: `${shown} frames of the source run over ${ran} of the list, and its M2 line says that they run as they are`,
          expected: 'equally many',
        };
  const needed = Math.ceil(ran * Math.max(factor, exact));
  // The list has what is taken from the source, or as much as it runs; anything else contradicts its M2 line.
  if (Math.abs(shown - ran * factor) > 1 && Math.abs(shown - ran * exact) > 1 && shown !== ran)
    return {
      why: `${shown} frames of the source run over ${ran} of the list, and its M2 line says ${framesPerSecond} frames a second`,
      expected: 'lengths that fit to the speed',
    };
  return { frames: shown === ran ? needed : Math.max(needed, shown) };
}
