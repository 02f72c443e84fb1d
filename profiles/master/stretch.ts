/**
 * A stretch of a clip as a master: frame k is what it is in the master of the whole clip, with its name, number, timecode and source. So all is decided of the
 * whole first, and then cut. Pure.
 */
import { addFrames } from '../../media/time/timecode.ts';
import { frameNumber } from './frame-name.ts';
import type { MasterOutcome } from './outcome.ts';

type Cut = Pick<MasterOutcome, 'fileName' | 'first' | 'digits' | 'frames' | 'timecode'> & {
  readonly stretch: MasterOutcome['stretch'];
};

/** Throws RangeError for frames that the clip does not have. `stretch` absent: all of it. */
export function stretchOf<Whole extends Cut>(
  whole: Whole,
  stretch: { readonly start: number; readonly frames: number } | undefined,
): Omit<Whole, 'stretch'> & { stretch: MasterOutcome['stretch'] } {
  if (stretch === undefined) return whole;
  const { start, frames } = stretch;
  if (start < 0 || frames < 1 || start + frames > whole.frames)
    throw new RangeError(`frames ${start} to ${start + frames - 1} of a clip of ${whole.frames}`);
  const first = whole.first + start;
  const number = (value: number): string => frameNumber(whole, value);
  return {
    ...whole,
    // Two stretches of a clip, and the whole of it, are folders of their own.
    fileName: `${whole.fileName}.${number(first)}-${number(first + frames - 1)}`,
    first,
    frames,
    timecode: addFrames(whole.timecode, start),
    stretch: { start, of: whole.frames },
  };
}

/** Which frame of its clip frame `index` of a master is, both counted from 0. */
export const clipFrame = ({ stretch }: Pick<MasterOutcome, 'stretch'>, index: number): number =>
  index + (stretch?.start ?? 0);

/** Frames of the clip that a master is made from. */
export const clipFrames = ({ stretch, frames }: Pick<MasterOutcome, 'stretch' | 'frames'>): number =>
  stretch?.of ?? frames;
