/** From which frame each delivered frame shows, to what went wrong, in the fewest words that say it. Pure. */
import { append } from '../findings/append.ts';
import type { FrameMatch } from './match.ts';

const orderFaults = [
  'missing',
  'repeated',
  'frozen',
  'swapped',
  'shifted',
  'foreign',
  'black',
  'blank',
  'damaged',
] as const;
export type OrderFault = (typeof orderFaults)[number];

export interface OrderDifference {
  readonly kind: OrderFault;
  /** Delivered frames, first and last, counted from 0; of `missing`: source frames. */
  readonly from: number;
  readonly to: number;
  /** `shifted`: by how many frames (positive: later pictures than should be). `repeated`, `frozen`: the source frame shown. */
  readonly by: number | null;
}

/** As long as this, frames of one picture are frozen and not merely repeated. */
const FROZEN = 3;

export type Empty = 'black' | 'blank' | null;

/** `empty`: of a frame that shows no source frame, whether there is nothing in it at all. */
export function describeOrder(
  frames: readonly FrameMatch[],
  sourceCount: number,
  empty: (frame: number) => Empty,
): OrderDifference[] {
  const out: OrderDifference[] = [];
  const taken = new Set<number>();
  const run = (from: number, same: (frame: number) => boolean): number => {
    let to = from;
    while (to + 1 < frames.length && same(to + 1)) to += 1;
    return to;
  };
  const take = (kind: OrderFault, from: number, to: number, by: number | null = null): void => {
    for (let frame = from; frame <= to; frame += 1) taken.add(frame);
    out.push({ kind, from, to, by });
  };
  const stateOf = (frame: number): FrameMatch['state'] | undefined => frames[frame]?.state;
  const shift = (frame: number): number | null => {
    const match = frames[frame];
    return match?.state === 'wrong' && match.shows !== null ? match.shows - frame : null;
  };

  for (let frame = 0; frame < frames.length; frame += 1) {
    if (taken.has(frame)) continue;
    const match = frames[frame] as FrameMatch;
    if (match.state === 'damaged')
      take(
        'damaged',
        frame,
        run(frame, (next) => stateOf(next) === 'damaged'),
      );
    if (match.state !== 'wrong') continue;
    if (match.shows === null) {
      const nothing = empty(frame);
      take(
        nothing ?? 'foreign',
        frame,
        run(
          frame,
          (next) =>
            frames[next]?.state === 'wrong' && frames[next]?.shows === null && empty(next) === nothing,
        ),
      );
      continue;
    }
    if (match.shows === frame + 1 && frames[frame + 1]?.shows === frame) {
      take('swapped', frame, frame + 1);
      continue;
    }
    // The picture of the frame before, or of one that stood still before this.
    const still =
      frames[frame - 1]?.shows === match.shows
        ? run(frame, (next) => frames[next]?.state === 'wrong' && frames[next]?.shows === match.shows)
        : frame;
    const by = match.shows - frame;
    // A frame that cannot be told from its neighbours does not end a shift.
    const moved = lastOfShift(frames, frame, by, shift);
    if (frames[frame - 1]?.shows === match.shows && still - frame + 2 >= FROZEN && still >= moved)
      take('frozen', frame, still, match.shows);
    else if (moved > frame) take('shifted', frame, moved, by);
    else if (frames[frame - 1]?.shows === match.shows) take('repeated', frame, still, match.shows);
    else take('shifted', frame, frame, by);
  }
  append(out, missingFrames(frames, sourceCount));
  return out;
}

function lastOfShift(
  frames: readonly FrameMatch[],
  from: number,
  by: number,
  shift: (frame: number) => number | null,
): number {
  let last = from;
  for (let frame = from + 1; frame < frames.length; frame += 1) {
    if (shift(frame) === by) last = frame;
    else if (frames[frame]?.state !== 'unproven') break;
  }
  return last;
}

/** Source frames that nothing shows, where that can be known: beside delivered frames that are out of place, or beyond the last. */
function missingFrames(frames: readonly FrameMatch[], sourceCount: number): OrderDifference[] {
  const shown = new Set(frames.map((match) => match.shows));
  const isAbsent = (frame: number): boolean => !shown.has(frame);
  const out: OrderDifference[] = [];
  for (let frame = 0; frame < sourceCount; frame += 1) {
    if (!isAbsent(frame)) continue;
    let to = frame;
    while (to + 1 < sourceCount && isAbsent(to + 1)) to += 1;
    out.push({ kind: 'missing', from: frame, to, by: null });
    frame = to;
  }
  return out;
}
