/**
 * Which frame the encoder is given, by means of luma over the whole picture, taken of the source through the same arithmetic. The windows of the
 * means are cubic B-splines four cells wide: so smooth that a scaler, which moves every sample's share by a sample or two, leaves their
 * means alone. What is left is rounding, so that a mixture of two frames, the other field or a repeated frame is seen where tiles
 * lie in parts that do not move.
 */
import type { Readable } from 'node:stream';
import { median } from '../pictures.ts';
import { codesIn, readFrames } from '../raw-frames.ts';
import type { TilePlan } from './tiles.ts';

/** Cells of the finest grid, and the samples that a cell has at least across and down. */
const FINEST = { columns: 112, rows: 64 } as const;
const LEAST_CELL = 8;
/** Fewer say nothing: the outermost of each side are left out. */
const LEAST_CELLS = 4;

export interface PlacingGrid {
  readonly columns: number;
  readonly rows: number;
}

/** null: a picture so small that its tiles cover it. */
export function placingGrid({ source, scaled }: Pick<TilePlan, 'source' | 'scaled'>): PlacingGrid | null {
  const columns = Math.min(FINEST.columns, Math.floor(Math.min(source.width, scaled.width) / LEAST_CELL));
  const rows = Math.min(FINEST.rows, Math.floor(Math.min(source.height, scaled.height) / LEAST_CELL));
  return columns < LEAST_CELLS || rows < LEAST_CELLS ? null : { columns, rows };
}

/** 1 for each cell whose window sees nothing but the picture: neither beyond an edge nor text. */
export function placingCells(plan: TilePlan, { columns, rows }: PlacingGrid): Uint8Array {
  const { scaled, window, covered } = plan;
  const seen = new Uint8Array(columns * rows);
  const [wide, tall] = [scaled.width / columns, scaled.height / rows];
  /** Beyond the picture's own edge the outermost sample goes on; a window that reaches far beyond it is one of that sample. */
  type Span = readonly [from: number, to: number];
  const within = ([from, to]: Span, [low, high]: Span, whole: number): boolean =>
    (from >= low || low === 0) && (to <= high || high === whole);
  const [across, down]: readonly [Span, Span] = [
    [window.left, window.left + window.width],
    [window.top, window.top + window.height],
  ];
  for (let row = 1; row < rows - 1; row += 1)
    for (let column = 1; column < columns - 1; column += 1) {
      const [left, right] = [(column - 1.5) * wide, (column + 2.5) * wide];
      const [top, bottom] = [(row - 1.5) * tall, (row + 2.5) * tall];
      const inside =
        within([left, right], across, scaled.width) && within([top, bottom], down, scaled.height);
      const hidden = covered.some((part) => {
        const [x, y] = [part.left + window.left, part.top + window.top];
        return left < x + part.width && right > x && top < y + part.height && bottom > y;
      });
      if (inside && !hidden) seen[row * columns + column] = 1;
    }
  return seen;
}

export interface PlacingRequest {
  readonly plan: TilePlan;
  readonly grid: PlacingGrid;
  /** Planes of the source's means: luma alone, or three where luma is made of three. */
  readonly planes: 1 | 3;
  /** Mean luma of the encoder for the mean of the source's planes; codes of 8 bits with their fractions. */
  readonly luma: (colour: readonly [number, number, number]) => number;
  /** By which a mean may differ; codes of 8 bits. */
  readonly allowed: number;
  /** Share of the samples of a frame's tiles that had to be limited: what is lost there changes means. null: they have not come. */
  readonly limited: (frame: number) => number | null;
}

export interface MisplacedFrame {
  readonly frame: number;
  /** Middle of the cell that is off most, in the delivered picture, and by how much: codes of 8 bits. */
  readonly x: number;
  readonly y: number;
  readonly off: number;
  readonly cells: number;
  /** The frame beside it that it leans to, and how far: 1 is that frame. */
  readonly towards: { readonly frame: number; readonly share: number } | null;
}

export interface PlacingVerdict {
  readonly frames: number;
  readonly cells: number;
  readonly allowed: number;
  /** Codes of 8 bits that the farthest mean is off. */
  readonly worst: number;
  readonly off: readonly MisplacedFrame[];
  /** Frames in which so much had to be limited that their means say nothing. */
  readonly limited: number;
}

/** Frames either way by which a cell is judged: what is off in all of them alike is limited there, and no other frame. */
const AROUND = 4;
const TIMES = 3;
/** Of the samples of a frame's tiles. */
const MUCH_LIMITED = 0.005;

/** A clip has a mean of each of a hundred thousand cells a second, and a few thousand codes: each code is computed once. */
function lumaOfCodes(luma: (code: number) => number): (code: number) => number {
  const known = new Float64Array(2 ** 16).fill(Number.NaN);
  return (code) => {
    const found = known[code] as number;
    if (!Number.isNaN(found)) return found;
    const made = luma(code);
    known[code] = made;
    return made;
  };
}

export class PlacingComparer {
  readonly #request: PlacingRequest;
  readonly #seen: readonly number[];
  readonly #means = new Map<number, Float32Array>();
  readonly #given = new Map<number, Float32Array>();
  #sourceFrames = 0;
  #givenFrames = 0;
  #judged = 0;
  #worst = 0;
  #limited = 0;
  readonly #off: MisplacedFrame[] = [];

  constructor(request: PlacingRequest) {
    this.#request = request;
    this.#seen = [...placingCells(request.plan, request.grid).entries()].flatMap(([cell, seen]) =>
      seen === 1 ? [cell] : [],
    );
  }

  readSource(stream: Readable): Promise<void> {
    const { grid, planes, luma } = this.#request;
    const count = grid.columns * grid.rows;
    const ofLuma = planes === 1 ? lumaOfCodes((code) => luma([code / 256, 128, 128])) : null;
    return readFrames(stream, 2 * planes * count, (bytes) => {
      const codes = codesIn(bytes);
      const seen = this.#seen;
      const means = new Float32Array(seen.length);
      const colour: [number, number, number] = [0, 128, 128];
      for (let index = 0; index < seen.length; index += 1) {
        const cell = seen[index] as number;
        if (ofLuma !== null) {
          means[index] = ofLuma(codes[cell] as number);
          continue;
        }
        for (let plane = 0; plane < planes; plane += 1)
          colour[plane] = (codes[plane * count + cell] as number) / 256;
        means[index] = luma(colour);
      }
      this.#means.set(this.#sourceFrames++, means);
      this.advance(false);
    });
  }

  readGiven(stream: Readable): Promise<void> {
    const { grid } = this.#request;
    return readFrames(stream, 2 * grid.columns * grid.rows, (bytes) => {
      const codes = codesIn(bytes);
      const seen = this.#seen;
      const means = new Float32Array(seen.length);
      for (let index = 0; index < seen.length; index += 1)
        means[index] = (codes[seen[index] as number] as number) / 256;
      this.#given.set(this.#givenFrames++, means);
      this.advance(false);
    });
  }

  /** Both streams have ended. */
  verdict(): PlacingVerdict {
    this.advance(true);
    return {
      frames: this.#judged,
      cells: this.#seen.length,
      allowed: this.#request.allowed,
      worst: this.#worst,
      off: this.#off,
      limited: this.#limited,
    };
  }

  /** Judges what can be judged. */
  advance(ended: boolean): void {
    for (;;) {
      const frame = this.#judged;
      const last = ended ? frame : frame + AROUND;
      if (!this.#means.has(last) || !this.#given.has(last)) return;
      if (!ended && this.#request.limited(frame) === null) return;
      this.#judge(frame);
      this.#means.delete(frame - AROUND);
      this.#given.delete(frame - AROUND);
      this.#judged += 1;
    }
  }

  #offBy(frame: number, index: number): number | null {
    const [given, means] = [this.#given.get(frame), this.#means.get(frame)];
    return given === undefined || means === undefined
      ? null
      : (given[index] as number) - (means[index] as number);
  }

  #judge(frame: number): void {
    if ((this.#request.limited(frame) ?? 0) > MUCH_LIMITED) {
      this.#limited += 1;
      return;
    }
    const { allowed, grid, plan } = this.#request;
    let cells = 0;
    let most = 0;
    let worst = -1;
    const [given, means] = [this.#given.get(frame), this.#means.get(frame)];
    for (let index = 0; index < this.#seen.length; index += 1) {
      const off =
        given === undefined || means === undefined
          ? 0
          : Math.abs((given[index] as number) - (means[index] as number));
      if (off > this.#worst) this.#worst = off;
      if (off <= allowed || off <= this.#usual(frame, index) * TIMES + allowed) continue;
      cells += 1;
      if (off > most) [most, worst] = [off, index];
    }
    if (worst < 0) return;
    const cell = this.#seen[worst] as number;
    const middle = (at: number, whole: number, count: number, first: number): number =>
      Math.round(((at + 0.5) * whole) / count) - first;
    this.#off.push({
      frame,
      x: middle(cell % grid.columns, plan.scaled.width, grid.columns, plan.window.left),
      y: middle(Math.floor(cell / grid.columns), plan.scaled.height, grid.rows, plan.window.top),
      off: most,
      cells,
      towards: this.#towards(frame),
    });
  }

  /** By how much this cell is off in the frames around. */
  #usual(frame: number, index: number): number {
    const around: number[] = [];
    for (let one = frame - AROUND; one <= frame + AROUND; one += 1) {
      const off = one === frame ? null : this.#offBy(one, index);
      if (off !== null) around.push(Math.abs(off));
    }
    return around.length === 0 ? 0 : median(around);
  }

  /** By least squares over all cells, which of the frames beside it is in it, and how much. */
  #towards(frame: number): MisplacedFrame['towards'] {
    let best: { frame: number; share: number; explained: number } | null = null;
    const own = this.#means.get(frame) as Float32Array;
    for (const other of [frame - 1, frame + 1]) {
      const means = this.#means.get(other);
      if (means === undefined) continue;
      let way = 0;
      let along = 0;
      for (let index = 0; index < own.length; index += 1) {
        const step = (means[index] as number) - (own[index] as number);
        way += step * step;
        along += step * (this.#offBy(frame, index) ?? 0);
      }
      if (way === 0 || along <= 0) continue;
      const explained = (along * along) / way;
      if (best === null || explained > best.explained) best = { frame: other, share: along / way, explained };
    }
    return best === null ? null : { frame: best.frame, share: best.share };
  }
}

/** What a mean may be off, codes of 8 bits: by weights and windows, the more the fewer samples a cell has; and by rounding that is the same all over a flat part. */
const BASE = 0.15;
const OF_A_SAMPLE = 40;
const FLAT = 0.5;

export function allowedMean(
  { source, scaled }: Pick<TilePlan, 'source' | 'scaled'>,
  { columns, rows }: PlacingGrid,
  { keepsLevel, bits }: { readonly keepsLevel: boolean; readonly bits: number },
): number {
  const samples = Math.min(source.width * source.height, scaled.width * scaled.height) / (columns * rows);
  return BASE + OF_A_SAMPLE / samples + (keepsLevel ? 0 : FLAT / 2 ** (bits - 8));
}
