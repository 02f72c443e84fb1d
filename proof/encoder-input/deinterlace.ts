/**
 * Frames made of fields, in whole numbers, as the deinterlacer of the recipe makes them (`bwdif`, one frame of the earlier field of each; the filter of
 * BBC R&D report WHP 311's kind: lines of the later field are drawn from around them and from before and after, and held within what both
 * allow). Planes are parts of a picture; lines that need others beyond the part are left out as NaN.
 */
import type { SamplePlane } from './samples.ts';

const FULL = 8192;
/** Weights of 8192: of moving lines in low and high frequencies, and of the lines of one field alone. */
const LOW = [4309, 213] as const;
const HIGH = [5570, 3801, 1016] as const;
const SPATIAL = [5077, 981] as const;

export interface FieldsRequest {
  /** null: `now` is the first frame, which is made of its own field alone. */
  readonly before: SamplePlane | null;
  readonly now: SamplePlane;
  readonly after: SamplePlane;
  readonly earlier: 'top' | 'bottom';
  /** First line of the part, and lines of the whole plane. */
  readonly firstLine: number;
  readonly lines: number;
  readonly bits: number;
}

export function deinterlaced({
  before,
  now,
  after,
  earlier,
  firstLine,
  lines,
  bits,
}: FieldsRequest): SamplePlane {
  const { width, height } = now;
  const values = Float64Array.from(now.values);
  const most = 2 ** bits - 1;
  const kept = earlier === 'top' ? 0 : 1;
  for (let line = 0; line < height; line += 1) {
    const y = firstLine + line;
    if (y % 2 === kept) continue;
    for (let x = 0; x < width; x += 1) {
      const at = (plane: SamplePlane, away: number): number => {
        const target = line + away;
        return target < 0 || target >= height ? Number.NaN : (plane.values[target * width + x] as number);
      };
      const place: LinePlace = { y, lines, most, reach: bits > 8 ? 2 : 1 };
      values[line * width + x] =
        before === null ? ofOneField(at, now, place) : ofThree(at, { before, now, after }, place);
    }
  }
  return { width, height, values };
}

type At = (plane: SamplePlane, away: number) => number;
const half = (value: number): number => Math.floor(value / 2);

interface LinePlace {
  readonly y: number;
  readonly lines: number;
  readonly most: number;
  /** How far the filter keeps from the edges: in lines, but counted in bytes of a sample. */
  readonly reach: 1 | 2;
}

/** Lines above and below, or twice the one on the other side where there is none. */
const above = ({ y, reach }: LinePlace, lines: 1 | 3): number => (y > lines * reach - 1 ? -lines : 1);
const below = ({ y, lines: all, reach }: LinePlace, lines: 1 | 3): number =>
  y + lines * reach < all ? lines : -1;

function ofOneField(at: At, now: SamplePlane, place: LinePlace): number {
  const near = at(now, above(place, 1)) + at(now, below(place, 1));
  const far = at(now, above(place, 3)) + at(now, below(place, 3));
  return Math.min(Math.max(Math.floor((SPATIAL[0] * near - SPATIAL[1] * far) / FULL), 0), place.most);
}

function ofThree(
  at: At,
  {
    before,
    now,
    after,
  }: { readonly before: SamplePlane; readonly now: SamplePlane; readonly after: SamplePlane },
  place: LinePlace,
): number {
  const { y, lines, most } = place;
  const edge = y < 4 || y + 5 > lines;
  const up = edge ? above(place, 1) : -1;
  const down = edge ? below(place, 1) : 1;
  const c = at(now, up);
  const e = at(now, down);
  // Lines of the later field: those of the frame before, and those of this one.
  const d = half(at(before, 0) + at(now, 0));
  const moved = Math.abs(at(before, 0) - at(now, 0));
  const movedBefore = half(Math.abs(at(before, up) - c) + Math.abs(at(before, down) - e));
  const movedAfter = half(Math.abs(at(after, up) - c) + Math.abs(at(after, down) - e));
  let within = Math.max(half(moved), movedBefore, movedAfter);
  if (within === 0) return d;
  if (!edge || !(y < 2 || y + 3 > lines)) {
    const b = half(at(before, -2) + at(now, -2)) - c;
    const f = half(at(before, 2) + at(now, 2)) - e;
    const dc = d - c;
    const de = d - e;
    within = Math.max(within, Math.min(de, dc, Math.max(b, f)), -Math.max(de, dc, Math.min(b, f)));
  }
  let made: number;
  if (edge) made = half(c + e);
  else {
    const outer = at(now, -3) + at(now, 3);
    if (Math.abs(c - e) > moved) {
      const high =
        HIGH[0] * (at(before, 0) + at(now, 0)) -
        HIGH[1] * (at(before, -2) + at(now, -2) + at(before, 2) + at(now, 2)) +
        HIGH[2] * (at(before, -4) + at(now, -4) + at(before, 4) + at(now, 4));
      made = Math.floor((Math.floor(high / 4) + LOW[0] * (c + e) - LOW[1] * outer) / FULL);
    } else made = Math.floor((SPATIAL[0] * (c + e) - SPATIAL[1] * outer) / FULL);
  }
  return Math.min(Math.max(Math.min(Math.max(made, d - within), d + within), 0), most);
}
