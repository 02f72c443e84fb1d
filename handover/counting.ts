/**
 * Which frame of the source a frame of a deliverable is, and how source and deliverable count. Frame k of a deliverable is frame k of its source; only
 * of a clip that had no constant rate and was given one it is another, by its grid, and of one whose fields were split it is the field of a frame. Pure.
 */
import { timecodeBase, type Rate } from '../media/time/rate.ts';
import { formatTimecode, framesPerDay, addFrames, type Timecode } from '../media/time/timecode.ts';
import type { Grid, Split } from '../profiles/cadence.ts';
import type { DayClip, DayDeliverable, DayRecorded } from './day.ts';

/** What an editor cuts with: a published proxy without text in its picture, else any proxy, else what else is there. null: nothing was published. */
export function cutOf({ deliverables }: Pick<DayClip, 'deliverables'>): DayDeliverable | null {
  const there = deliverables.filter(({ file }) => file !== null);
  return (
    there.find(({ use, burntIn }) => use === 'proxy' && !burntIn) ??
    there.find(({ use }) => use === 'proxy') ??
    there[0] ??
    null
  );
}

/** The reel that a clip's media carry. */
export const reelOfClip = (
  { recorded, roll }: Pick<DayClip, 'recorded' | 'roll'>,
  cut: Pick<DayDeliverable, 'reel'> | null,
): string => cut?.reel ?? recorded?.reel ?? roll;

/** Labels of a source, one a frame. */
export interface Counting {
  readonly start: Timecode;
  /** Frames a second by which these labels run. */
  readonly rate: Rate;
}

/**
 * Of the source. A camera that counts pairs of frames (SMPTE ST 12-1, above 30 frames a second) has two frames a label: here they are counted
 * singly. One that records faster and counts in the rate of its project has labels of that. null: the source has no timecode.
 */
export function countingOfSource(
  { start, rate }: Pick<DayRecorded, 'start' | 'rate'>,
  played: Rate | null,
): Counting | null {
  if (start === null) return null;
  const base = timecodeBase(rate);
  if (start.base === base) return { start, rate };
  if (played !== null && start.base === timecodeBase(played)) return { start, rate: played };
  return start.base * 2 === base ? { start: { ...start, frame: start.frame * 2, base }, rate } : null;
}

/** The label of frame k, from 0; the day rolls over. */
export const labelAt = (start: Timecode, frame: number): string => formatTimecode(addFrames(start, frame));

/** Which frame, from 0, has a label; labels before the start are of the next day. */
export function frameAt(start: Timecode, label: Timecode): number {
  const day = framesPerDay(start.base, start.drop);
  return (label.frame - start.frame + day) % day;
}

/** What frame k of a deliverable shows. */
export interface ShownOfSource {
  /** From 0. */
  readonly frame: number;
  /** Which of its fields; null: all of it. */
  readonly field: 'top' | 'bottom' | null;
}

export function sourceFrameOf(
  { grid, split }: { readonly grid: Grid | null; readonly split: Split | null },
  frame: number,
): ShownOfSource {
  if (split === null) return { frame: frameOnGrid(grid, frame), field: null };
  const later = split.earlier === 'top' ? 'bottom' : 'top';
  return { frame: Math.floor(frame / 2), field: frame % 2 === 0 ? split.earlier : later };
}

function frameOnGrid(grid: Grid | null, frame: number): number {
  if (grid === null) return frame;
  const repeats = new Map(grid.repeated);
  const left = new Set(grid.leftOut);
  let shown = 0;
  for (let source = 0; ; source += 1) {
    if (left.has(source)) continue;
    shown += repeats.get(source) ?? 1;
    if (frame < shown) return source;
  }
}
