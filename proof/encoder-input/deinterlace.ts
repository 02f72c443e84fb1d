/**
 * Frames made of fields, in whole numbers, as the deinterlacer of the recipe makes them (`bwdif`, a frame of the earlier field of each, or of either; the filter of
 * BBC R&D report WHP 311's kind: lines of the other field are drawn from around them and from before and after, and held within what both
 * allow). Planes are parts of a picture; lines that need others beyond the part are left out as NaN.
 */
import type { SamplePlane } from './samples.ts';

const FULL = 8192;
/** Weights of 8192: of moving lines in low and high frequencies, and of the lines of one field alone. */
const LOW = [4309, 213] as const;
const HIGH = [5570, 3801, 1016] as const;
const SPATIAL = [5077, 981] as const;

/**
 * How builds of ffmpeg make a frame that has no field on one side in time, the first one and of split fields the last one: of its own field alone, or so but for the
 * lines next to the edges, which take the frame itself for the one that is not there (measured: all of it with 5.1, and but for the edges with 7.1).
 */
const END_FRAMES = ['field-alone', 'edges-of-three'] as const;
export type EndFrame = (typeof END_FRAMES)[number];

/** What a frame may have been made as: those at an end as either, whole; null: one like all others. */
export const waysMade = (isAtEnd: boolean): readonly (EndFrame | null)[] => (isAtEnd ? END_FRAMES : [null]);

/** What a frame is made of: which frame of the source, and which field of it. */
export interface FieldShown {
  readonly frame: number;
  readonly of: 'earlier' | 'later';
  readonly isAtEnd: boolean;
}

/** `each`: frames that are made of each one of the source: one of its earlier field, or of its earlier and then of its later one; `frames` are made in all. */
export function fieldShown(made: number, each: 1 | 2, frames: number): FieldShown {
  if (each === 1) return { frame: made, of: 'earlier', isAtEnd: made === 0 };
  return {
    frame: Math.floor(made / 2),
    of: made % 2 === 0 ? 'earlier' : 'later',
    isAtEnd: made === 0 || made === frames - 1,
  };
}

export interface FieldsRequest {
  /** How a frame at an end is made; null: another one. */
  readonly end: EndFrame | null;
  /** Of the first and the last frame the frame itself. */
  readonly before: SamplePlane;
  readonly now: SamplePlane;
  readonly after: SamplePlane;
  readonly earlier: 'top' | 'bottom';
  /** Which field of the frame is made into a whole one. */
  readonly of: 'earlier' | 'later';
  /** First line of the part, and lines of the whole plane. */
  readonly firstLine: number;
  readonly lines: number;
  readonly bits: number;
}

export function deinterlaced(request: FieldsRequest): SamplePlane & { readonly values: Float64Array } {
  const { end, before, now, after, earlier, of, firstLine, lines, bits } = request;
  const { width, height } = now;
  const values = Float64Array.from(now.values);
  const kept = (earlier === 'top') === (of === 'earlier') ? 0 : 1;
  // The two fields that lie around this one in time: of the frame before and this one, or of this one and the next.
  const [was, is] = of === 'earlier' ? [before, now] : [now, after];
  const place = { lines, most: 2 ** bits - 1, reach: bits > 8 ? 2 : 1 } as const;
  for (let line = 0; line < height; line += 1) {
    const y = firstLine + line;
    if (y % 2 === kept) continue;
    const into = values.subarray(line * width, (line + 1) * width);
    const row = (plane: SamplePlane, away: number): Row => {
      const target = line + away;
      return target < 0 || target >= height
        ? null
        : plane.values.subarray(target * width, (target + 1) * width);
    };
    const fieldAlone = end === 'field-alone' || (end === 'edges-of-three' && y >= 3 && y + 3 < lines);
    const made = fieldAlone
      ? ofOneField(into, (away) => row(now, away), { ...place, y })
      : ofThree(
          into,
          {
            before: (away) => row(before, away),
            now: (away) => row(now, away),
            after: (away) => row(after, away),
            was: (away) => row(was, away),
            is: (away) => row(is, away),
          },
          { ...place, y },
        );
    if (!made) into.fill(Number.NaN);
  }
  return { width, height, values };
}

/** null: beyond the part. */
type Row = Known | null;
type Known = SamplePlane['values'];
type RowAt = (away: number) => Row;

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

/** False: a line that it needs is beyond the part. */
function ofOneField(into: Float64Array, now: RowAt, place: LinePlace): boolean {
  const rows = [above(place, 1), below(place, 1), above(place, 3), below(place, 3)].map(now);
  if (rows.some((row) => row === null)) return false;
  const [c, e, f, g] = rows as [Known, Known, Known, Known];
  for (let x = 0; x < into.length; x += 1) {
    const near = (c[x] as number) + (e[x] as number);
    const far = (f[x] as number) + (g[x] as number);
    into[x] = Math.min(Math.max(Math.floor((SPATIAL[0] * near - SPATIAL[1] * far) / FULL), 0), place.most);
  }
  return true;
}

interface ThreeFrames {
  readonly before: RowAt;
  readonly now: RowAt;
  readonly after: RowAt;
  /** Of the other field, before and after the one that is kept: where its line was, and where it is. */
  readonly was: RowAt;
  readonly is: RowAt;
}

function ofThree(into: Float64Array, frames: ThreeFrames, place: LinePlace): boolean {
  const { before, now, after, was: wasAt, is: isAt } = frames;
  const { y, lines, most } = place;
  const edge = y < 4 || y + 5 > lines;
  const up = edge ? above(place, 1) : -1;
  const down = edge ? below(place, 1) : 1;
  // What the two lines beside say of the later field is asked only where there are two.
  const bounded = !edge || !(y < 2 || y + 3 > lines);
  const near = [wasAt(0), isAt(0), before(up), before(down), now(up), now(down), after(up), after(down)];
  const second = bounded ? [wasAt(-2), isAt(-2), wasAt(2), isAt(2)] : [];
  const far = edge ? [] : [now(-3), now(3), wasAt(-4), isAt(-4), wasAt(4), isAt(4)];
  if ([...near, ...second, ...far].some((row) => row === null)) return false;
  const [b0, n0, bUp, bDown, nUp, nDown, aUp, aDown] = near as Known[] as [
    Known,
    Known,
    Known,
    Known,
    Known,
    Known,
    Known,
    Known,
  ];
  // Where they are not asked for, any line does.
  const [b2u = b0, n2u = b0, b2d = b0, n2d = b0] = second as Known[];
  const [n3u = b0, n3d = b0, b4u = b0, n4u = b0, b4d = b0, n4d = b0] = far as Known[];
  for (let x = 0; x < into.length; x += 1) {
    const c = nUp[x] as number;
    const e = nDown[x] as number;
    const was = b0[x] as number;
    const is = n0[x] as number;
    // Lines of the other field, before and after this one.
    const d = (was + is) >> 1;
    const moved = Math.abs(was - is);
    const movedBefore = (Math.abs((bUp[x] as number) - c) + Math.abs((bDown[x] as number) - e)) >> 1;
    const movedAfter = (Math.abs((aUp[x] as number) - c) + Math.abs((aDown[x] as number) - e)) >> 1;
    let within = Math.max(moved >> 1, movedBefore, movedAfter);
    if (within === 0) {
      into[x] = d;
      continue;
    }
    const two = (b2u[x] as number) + (n2u[x] as number);
    const twoDown = (b2d[x] as number) + (n2d[x] as number);
    if (bounded) {
      const b = (two >> 1) - c;
      const f = (twoDown >> 1) - e;
      const dc = d - c;
      const de = d - e;
      within = Math.max(within, Math.min(de, dc, Math.max(b, f)), -Math.max(de, dc, Math.min(b, f)));
    }
    let made: number;
    if (edge) made = (c + e) >> 1;
    else {
      const outer = (n3u[x] as number) + (n3d[x] as number);
      if (Math.abs(c - e) > moved) {
        const four = (b4u[x] as number) + (n4u[x] as number) + (b4d[x] as number) + (n4d[x] as number);
        const high = HIGH[0] * (was + is) - HIGH[1] * (two + twoDown) + HIGH[2] * four;
        made = Math.floor((Math.floor(high / 4) + LOW[0] * (c + e) - LOW[1] * outer) / FULL);
      } else made = Math.floor((SPATIAL[0] * (c + e) - SPATIAL[1] * outer) / FULL);
    }
    into[x] = Math.min(Math.max(Math.min(Math.max(made, d - within), d + within), 0), most);
  }
  return true;
}
