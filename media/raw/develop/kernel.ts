/**
 * Development of raw frames on a thread: codes of a CFA to linear camera RGB (levels, demosaic), and from there to linear AP0. The only
 * one that knows how the kernels (media/kernels/assembly/cfa.ts) find their things. References: levels.ts, demosaic/*, highlights.ts.
 */
import { type KernelMemory, kernels } from '../../kernels/memory.ts';
import { planeBytes, type Planes } from '../../kernels/planes.ts';
import type { DemosaicMethod } from '../demosaic/methods.ts';
import { mirrored, redAt } from '../demosaic/mosaic.ts';
import type { RawPicture } from '../../formats/dng/header.ts';
import { BEHIND } from '../../formats/dng/kernel.ts';
import { balanceOf } from './balance.ts';
import { type Crop, cropOf, sizeOf } from './crop.ts';
import type { Development } from './development.ts';
import { levelsOf } from './levels.ts';
import type { HighlightPolicy } from './policies.ts';
import { UndevelopableError } from './undevelopable.ts';

export interface DevelopPlan extends Pick<Development, 'neutral' | 'matrix' | 'exposure'> {
  readonly picture: RawPicture;
  readonly demosaic: DemosaicMethod;
  readonly highlights: HighlightPolicy;
  /** Lines that are worked on at once, and that the planes have room for; without it all of them. */
  readonly lines?: number;
}

interface Exports {
  readonly linear: (plan: number, first: number, end: number) => void;
  readonly fine: (plan: number, first: number, end: number) => void;
  readonly toAp0: (r: number, g: number, b: number, count: number, factors: number, led: number) => void;
}

/** As in the kernels: whole values on each side of a line, lines of the ring, half lines of each, values beside a half line. */
const MARGIN = 16;
const RING = 16;
const KINDS = 9;
const PAD = 8;
const CODES = 65_536;

interface Prepared {
  readonly plan: DevelopPlan;
  readonly crop: Crop;
  readonly lines: number;
  readonly codes: number;
  readonly block: number;
  readonly factors: number;
  readonly planes: Planes;
}

export class DevelopKernel {
  readonly #memory: KernelMemory;
  readonly #exports: Exports;
  #prepared: Prepared | null = null;
  /** The line that the next band begins with. */
  #next = 0;

  private constructor(memory: KernelMemory, exports: Exports) {
    this.#memory = memory;
    this.#exports = exports;
  }

  static async load(memory: KernelMemory): Promise<DevelopKernel> {
    return new DevelopKernel(memory, await kernels<Exports>('cfa', memory));
  }

  /**
   * Allocates what frames of this plan need and writes its tables; all frames of it go through the same memory. Another plan: take the
   * memory back (`KernelMemory.reset`) and prepare again. Throws UndevelopableError where the picture is smaller than its pattern or its levels say nothing.
   */
  prepare(plan: DevelopPlan): void {
    const memory = this.#memory;
    const { picture } = plan;
    const active = sizeOf(picture.activeArea);
    if (active.width < 2 || active.height < 2)
      throw new UndevelopableError('size', `${active.width} x ${active.height} pixels of a pattern of 2 x 2`);
    const levels = levelsOf(picture);
    const crop = cropOf(picture);
    const half = halfLine(crop.width);
    const lines = Math.min(plan.lines ?? crop.height, crop.height);
    const plane = planeBytes(crop.width * lines);
    const codes = memory.allocate(picture.width * picture.height * 2 + BEHIND);
    const planes: Planes = {
      r: memory.allocate(plane),
      g: memory.allocate(plane),
      b: memory.allocate(plane),
      count: crop.width * lines,
    };
    const ringBytes = RING * KINDS * (half + 2 * PAD) * 4;
    const ring = memory.allocate(ringBytes);
    const lineCodes = memory.allocate(half * 4);
    const table = picture.linearisation === null ? 0 : memory.allocate(CODES * 4);
    const blackRows = picture.black.rows;
    const blacks = memory.allocate(blackRows * half * 2 * 4);
    const rowDeltas = memory.allocate(active.height * 4);
    const block = memory.allocate(128);
    const factors = memory.allocate(64);

    // What is read beyond the picture's own values must be numbers, whatever lay there before.
    memory.bytes(ring, ringBytes).fill(0);
    if (table !== 0) {
      const values = memory.f32(table, CODES);
      for (let code = 0; code < CODES; code += 1) values[code] = levels.linear(code);
    }
    // The deltas of rows are taken by themselves: black repeats by its pattern alone.
    const ofRow = memory.f32(rowDeltas, active.height);
    for (let row = 0; row < active.height; row += 1) ofRow[row] = picture.black.rowDeltas?.[row] ?? 0;
    const flat = levelsOf({ ...picture, black: { ...picture.black, rowDeltas: null } });
    const black = memory.f32(blacks, blackRows * half * 2);
    for (let row = 0; row < blackRows; row += 1)
      for (let x = 0; x < half * 2; x += 1)
        black[row * half * 2 + x] = flat.black(row, mirrored(crop.left - MARGIN + x, active.width));

    const red = redAt[picture.pattern];
    const balance = balanceOf(plan.neutral);
    const words = new DataView(memory.memory.buffer, block, 128);
    const integers = [
      codes + (picture.activeArea.top * picture.width + picture.activeArea.left) * 2,
      picture.width,
      active.width,
      active.height,
      crop.left,
      crop.top,
      crop.width,
      crop.height,
      red.row,
      red.column,
      table,
      blacks,
      blackRows,
      rowDeltas,
      lineCodes,
      ring,
    ];
    for (const [index, value] of integers.entries()) words.setUint32(index * 4, value, true);
    for (const [index, value] of [...balance.map((part) => levels.scale / part), ...balance].entries())
      words.setFloat32(64 + index * 4, value, true);
    for (const [index, value] of [planes.r, planes.g, planes.b].entries())
      words.setUint32(88 + index * 4, value, true);
    memory
      .f32(factors, 15)
      .set([
        ...plan.matrix.flat().map((value) => value * plan.exposure),
        ...plan.neutral,
        ...plan.neutral.map((value) => 1 / value),
      ]);
    this.#next = 0;
    this.#prepared = { plan, crop, lines, codes, block, factors, planes };
  }

  #need(): Prepared {
    if (this.#prepared === null) throw new Error('no plan is prepared');
    return this.#prepared;
  }

  /** What is developed of a frame, in pixels of the active area. */
  get crop(): Crop {
    return this.#need().crop;
  }

  /** Where a decoder may put the codes of the whole raw picture, line by line, u16, and something behind them (media/formats/dng/kernel.ts); the view goes stale when the memory grows. */
  codes(): Uint16Array {
    const { plan, codes } = this.#need();
    return this.#memory.u16(codes, plan.picture.width * plan.picture.height);
  }

  /**
   * Linear camera RGB of a band of the crop, not white-balanced, 1 where the sensor is full: from line `first` on as many lines as the plan works on at once,
   * or as there are. From codes of the whole raw picture, or, without them, from those that lie in `codes()`. The planes are the same for every band. Measured
   * values come through as they are, but for rounding. Throws RangeError for a band that does not follow the one before it.
   */
  camera(cfa?: Uint16Array, first = 0): Planes {
    const { plan, crop, lines, block, planes } = this.#need();
    if (cfa !== undefined) {
      const codes = this.codes();
      if (cfa.length !== codes.length) throw new RangeError(`${cfa.length} codes for ${codes.length} pixels`);
      codes.set(cfa);
    }
    if (first !== 0 && first !== this.#next)
      throw new RangeError(`a band from line ${first}, where line ${this.#next} is next`);
    const end = Math.min(first + lines, crop.height);
    this.#exports[plan.demosaic](block, first, end);
    this.#next = end;
    return { ...planes, count: crop.width * (end - first) };
  }

  /** Linear AP0 in place of linear camera RGB: highlights by the plan's policy, then matrix and exposure. Any planes of this memory. */
  toAp0(planes: Planes): Planes {
    const { plan, factors } = this.#need();
    this.#exports.toAp0(planes.r, planes.g, planes.b, planes.count, factors, LED[plan.highlights]);
    return planes;
  }
}

/** As the kernel `toAp0` counts them. */
const LED: Readonly<Record<HighlightPolicy, number>> = { keep: 0, neutral: 1, 'by-channel': 2 };

/** Values of half a line with its margins, a multiple of 4. */
const halfLine = (width: number): number => Math.ceil((width + 2 * MARGIN) / 8) * 4;
