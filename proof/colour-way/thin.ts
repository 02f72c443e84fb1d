/**
 * The pictures before and behind the table that a colour way is applied by, thinned out: of each square of 8 by 8 pixels one, elsewhere in
 * every frame. Each is looked up again (look-up.ts), so that no part of a frame wider than a square is another one's, or went another way.
 */
import { createHash } from 'node:crypto';
import type { Readable } from 'node:stream';
import { codesIn, readFrames } from '../raw-frames.ts';
import { lookUp, type SpaceTable } from './look-up.ts';

/** Pixels a side of a square. */
export const SQUARE = 8;

/** How many squares of a picture are looked at, across and down. Smaller pictures than two squares are looked at whole. */
export function thinned({ width, height }: { readonly width: number; readonly height: number }): {
  readonly width: number;
  readonly height: number;
  readonly square: number;
} {
  const square = Math.min(width, height) < 2 * SQUARE ? 1 : SQUARE;
  const count = (side: number): number => Math.floor((side - square + 1) / square);
  return { width: count(width), height: count(height), square };
}

export interface ThinRequest {
  /** Of the picture. */
  readonly size: { readonly width: number; readonly height: number };
  readonly table: SpaceTable;
  /** Of a code. */
  readonly bits: number;
}

export interface OffPixel {
  readonly frame: number;
  readonly channel: 0 | 1 | 2;
  /** In the thinned picture. */
  readonly x: number;
  readonly y: number;
  readonly found: number;
  readonly expected: number;
  /** Samples of this frame that are off. */
  readonly count: number;
}

export interface ThinVerdict {
  readonly frames: number;
  readonly samples: number;
  /** Codes that the farthest sample is off. */
  readonly worst: number;
  readonly allowed: number;
  readonly off: readonly OffPixel[];
  /** SHA-256 of both sides, in order. */
  readonly digests: { readonly before: string; readonly behind: string };
}

/** The filter cuts fractions off, in 32-bit floats: half a code about the middle of what it may give, and a tenth for them. */
const ALLOWED = 0.6;

export class ThinComparer {
  readonly #request: ThinRequest;
  readonly #frames = { before: new Map<number, Buffer>(), behind: new Map<number, Buffer>() };
  readonly #count = { before: 0, behind: 0 };
  readonly #digests = { before: createHash('sha256'), behind: createHash('sha256') };
  readonly #off: OffPixel[] = [];
  /** By frame, of the samples before the table. */
  readonly #limited = new Map<number, number>();
  #done = 0;
  #samples = 0;
  #worst = 0;

  constructor(request: ThinRequest) {
    this.#request = request;
  }

  read(side: 'before' | 'behind', stream: Readable): Promise<void> {
    const { width, height } = thinned(this.#request.size);
    return readFrames(stream, 2 * 3 * width * height, (bytes) => {
      this.#digests[side].update(bytes);
      const frame = this.#count[side]++;
      this.#frames[side].set(frame, bytes);
      if (side === 'before') this.#limited.set(frame, this.#atEnds(bytes));
      this.#advance();
    });
  }

  /** Share of the samples before the table that lie at an end of their codes: they were limited to it. null: they have not come yet. */
  limited(frame: number): number | null {
    return this.#limited.get(frame) ?? null;
  }

  #atEnds(bytes: Buffer): number {
    const most = 2 ** this.#request.bits - 1;
    const codes = codesIn(bytes);
    let count = 0;
    for (let at = 0; at < codes.length; at += 1) {
      const code = codes[at] as number;
      if (code === 0 || code === most) count += 1;
    }
    return count / codes.length;
  }

  /** Both streams have ended. */
  verdict(): ThinVerdict {
    return {
      frames: this.#done,
      samples: this.#samples,
      worst: this.#worst,
      allowed: ALLOWED,
      off: this.#off,
      digests: { before: this.#digests.before.digest('hex'), behind: this.#digests.behind.digest('hex') },
    };
  }

  #advance(): void {
    for (;;) {
      const before = this.#frames.before.get(this.#done);
      const behind = this.#frames.behind.get(this.#done);
      if (before === undefined || behind === undefined) return;
      this.#compare(this.#done, before, behind);
      this.#frames.before.delete(this.#done);
      this.#frames.behind.delete(this.#done);
      this.#done += 1;
    }
  }

  #compare(frame: number, before: Buffer, behind: Buffer): void {
    const { size, table, bits } = this.#request;
    const { width, height } = thinned(size);
    const count = width * height;
    const most = 2 ** bits - 1;
    // Planes lie in the order G, B, R.
    const plane = (codes: Uint16Array, channel: 0 | 1 | 2): Uint16Array => {
      const from = count * ([2, 0, 1][channel] as number);
      return codes.subarray(from, from + count);
    };
    const taken = codesIn(before);
    const given = codesIn(behind);
    const wanted = [
      new Float64Array(plane(taken, 0)),
      new Float64Array(plane(taken, 1)),
      new Float64Array(plane(taken, 2)),
    ] as const;
    lookUp(table, wanted, most);
    let farthest: Omit<OffPixel, 'count'> | null = null;
    let off = 0;
    let beyond = 0;
    for (const channel of [0, 1, 2] as const) {
      const found = plane(given, channel);
      const expected = wanted[channel];
      for (let at = 0; at < count; at += 1) {
        const away = Math.abs((found[at] as number) + 0.5 - Math.min(expected[at] as number, most + 0.5));
        if (away > this.#worst) this.#worst = away;
        if (away <= ALLOWED) continue;
        off += 1;
        if (away <= beyond) continue;
        beyond = away;
        farthest = {
          frame,
          channel,
          x: at % width,
          y: Math.floor(at / width),
          found: found[at] as number,
          expected: expected[at] as number,
        };
      }
    }
    this.#samples += 3 * count;
    if (farthest !== null) this.#off.push({ ...farthest, count: off });
  }
}
