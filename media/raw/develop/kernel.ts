/**
 * Development of raw frames on a thread: codes of a CFA to linear camera RGB (levels, demosaic), and from there to linear AP0. The only
 * one that knows how the kernels (media/kernels/assembly: cfa.ts, common-mosaic.ts, warp.ts) find their things. References: levels.ts, demosaic/*, highlights.ts.
 */
import { type KernelMemory, kernels } from '../../kernels/memory.ts';
import { planeBytes, type Planes } from '../../kernels/planes.ts';
import type { DemosaicMethod } from '../demosaic/methods.ts';
import { mirrored, redAt } from '../demosaic/mosaic.ts';
import type { Samples } from '../../formats/dng/decode.ts';
import type { RawPicture } from '../../formats/dng/header.ts';
import { BEHIND } from '../../formats/dng/kernel.ts';
import { type Bounds, type Correction, opcodeName, type RawOpcode } from '../../formats/dng/opcodes.ts';
import { correctLines, fillBadPixels, warpFactors } from '../corrections/apply.ts';
import { type Placed, placed } from '../corrections/which.ts';
import { balanceOf } from './balance.ts';
import { type Crop, cropOf, halved, sizeOf } from './crop.ts';
import type { Development } from './development.ts';
import { levelsOf, samplesOf } from './levels.ts';
import type { HighlightPolicy } from './policies.ts';
import { beforeTurn, turned, type Turn } from './turn.ts';
import { UndevelopableError } from './undevelopable.ts';

export interface DevelopPlan extends Pick<Development, 'neutral' | 'matrix' | 'exposure'> {
  readonly picture: RawPicture;
  readonly demosaic: DemosaicMethod;
  readonly highlights: HighlightPolicy;
  /** Lines that are worked on at once, and that the planes have room for; without it all of them. */
  readonly lines?: number;
  /** Degrees clockwise by which the picture is turned to stand upright. */
  readonly turn?: Turn | undefined;
  /** Left and right change places before. */
  readonly mirrored?: boolean | undefined;
  /** Corrections that are made of frames which ask for them, by name (corrections/which.ts). */
  readonly corrections?: readonly string[] | undefined;
}

interface Exports {
  readonly linear: (plan: number, first: number, end: number) => void;
  readonly fine: (plan: number, first: number, end: number) => void;
  readonly half: (plan: number, first: number, end: number) => void;
  readonly halved: (plan: number, first: number, end: number) => void;
  readonly three: (plan: number, first: number, end: number) => void;
  readonly toAp0: (r: number, g: number, b: number, count: number, factors: number, led: number) => void;
}

interface WarpExports {
  readonly warp: (
    ...args: [planes: number, count: number, stride: number, width: number, height: number, factors: number]
  ) => void;
}

/** As in the kernels: whole values on each side of a line, lines of the ring, half lines of each, values beside a half line. */
const MARGIN = 16;
const RING = 16;
const KINDS = 9;
const PAD = 8;
const CODES = 65_536;

interface Prepared {
  readonly plan: DevelopPlan;
  /** Of the sensor: what is demosaiced. With `whole` the whole active area, otherwise what is shown. */
  readonly crop: Crop;
  /** The same as the kernel does it: where blocks of 2 x 2 begin outside, from a line or column before on. */
  readonly seen: Crop;
  readonly lines: number;
  readonly codes: number;
  readonly block: number;
  readonly factors: number;
  readonly planes: Planes;
  /** Linear values of the active area, where corrections are made of a mosaic; 0: none are. */
  readonly mosaic: number;
  readonly whole: Whole | null;
}

type Three = readonly [number, number, number];

/** Planes of the whole active area, for pictures that are turned or warped. */
interface Whole {
  readonly planes: Three;
  /** As many again, where they are warped. */
  readonly warped: Three | null;
  /** Where the kernel finds what it warps by, and which planes. */
  readonly warp: number;
}

const WARP_FACTORS = 9;

export class DevelopKernel {
  readonly #memory: KernelMemory;
  readonly #exports: Exports;
  readonly #warping: WarpExports;
  #prepared: Prepared | null = null;
  /** The line that the next band begins with. */
  #next = 0;
  /** Of the frame whose codes lie there. */
  #corrections: readonly Placed[] = [];
  /** Where that frame lies whole, where it does. */
  #picture: Three = [0, 0, 0];

  private constructor(memory: KernelMemory, exports: Exports, warping: WarpExports) {
    this.#memory = memory;
    this.#exports = exports;
    this.#warping = warping;
  }

  static async load(memory: KernelMemory): Promise<DevelopKernel> {
    const [exports, warping] = [
      await kernels<Exports>('cfa', memory),
      await kernels<WarpExports>('warp', memory),
    ];
    return new DevelopKernel(memory, exports, warping);
  }

  /**
   * Allocates what frames of this plan need and writes its tables; all frames of it go through the same memory. Another plan: take the
   * memory back (`KernelMemory.reset`) and prepare again. Throws UndevelopableError where the picture is smaller than its pattern or its levels say nothing.
   */
  prepare(plan: DevelopPlan): void {
    const memory = this.#memory;
    const { picture, corrections = [] } = plan;
    const active = sizeOf(picture.activeArea);
    if (picture.pattern !== null && (active.width < 2 || active.height < 2))
      throw new UndevelopableError('size', `${active.width} x ${active.height} pixels of a pattern of 2 x 2`);
    const warps = corrections.some((name) => name.startsWith(WARP));
    const shown = shownOf(plan);
    if (shown.width < 1 || shown.height < 1)
      throw new UndevelopableError('size', 'less than a block of 2 x 2 pixels is shown');
    const isWhole = warps || (plan.turn ?? 0) !== 0 || (plan.mirrored ?? false);
    const crop = isWhole ? { left: 0, top: 0, ...active } : cropOf(picture);
    const lines = Math.min(plan.lines ?? shown.height, shown.height);
    const seen = isWhole && isHalf(plan) ? fromBlock(crop, cropOf(picture)) : crop;
    const plane = planeBytes(Math.max(seen.width, shown.width) * lines * (isHalf(plan) ? 2 : 1));
    const samples = picture.width * picture.height * samplesOf(picture);
    const codes = memory.allocate(samples * (picture.sampleFormat === 'float' ? 4 : 2) + BEHIND);
    const planes: Planes = {
      r: memory.allocate(plane),
      g: memory.allocate(plane),
      b: memory.allocate(plane),
      count: shown.width * lines,
    };
    const wholePlanes = (): Three => {
      const bytes = planeBytes(active.width * active.height);
      return [memory.allocate(bytes), memory.allocate(bytes), memory.allocate(bytes)];
    };
    const onMosaic = picture.pattern !== null && corrections.some((name) => name.endsWith('(list 2)'));
    const mosaic = onMosaic ? memory.allocate(active.width * active.height * 4) : 0;
    const whole = isWhole
      ? {
          planes: wholePlanes(),
          warped: warps ? wholePlanes() : null,
          warp: memory.allocate(8 * (WARP_FACTORS + 3)),
        }
      : null;
    const factors = memory.allocate(64);
    const block =
      picture.pattern === null
        ? this.#prepareThree(plan, crop, codes, planes)
        : this.#prepareMosaic(plan, { crop: seen, codes, planes, mosaic });
    memory
      .f32(factors, 15)
      .set([
        ...plan.matrix.flat().map((value) => value * plan.exposure),
        ...plan.neutral,
        ...plan.neutral.map((value) => 1 / value),
      ]);
    this.#next = 0;
    this.#corrections = [];
    this.#prepared = { plan, crop, seen, lines, codes, block, factors, planes, mosaic, whole };
  }

  /** Entries for every code, the deltas of rows, and 0 where there is no table. */
  #prepareLevels({ picture }: DevelopPlan): { table: number; rowDeltas: number } {
    const memory = this.#memory;
    const { linear } = levelsOf(picture);
    const { height } = sizeOf(picture.activeArea);
    const table = picture.linearisation === null ? 0 : memory.allocate(CODES * 4);
    const rowDeltas = memory.allocate(height * 4);
    if (table !== 0) {
      const values = memory.f32(table, CODES);
      for (let code = 0; code < CODES; code += 1) values[code] = linear(code);
    }
    // The deltas of rows are taken by themselves: black repeats by its pattern alone.
    const ofRow = memory.f32(rowDeltas, height);
    for (let row = 0; row < height; row += 1) ofRow[row] = picture.black.rowDeltas?.[row] ?? 0;
    return { table, rowDeltas };
  }

  #prepareMosaic(
    plan: DevelopPlan,
    {
      crop,
      codes,
      planes,
      mosaic,
    }: { readonly crop: Crop; readonly codes: number; readonly planes: Planes; readonly mosaic: number },
  ): number {
    const memory = this.#memory;
    const { picture } = plan;
    const { pattern } = picture;
    if (pattern === null) throw new RangeError('a mosaic without a pattern');
    const active = sizeOf(picture.activeArea);
    const half = halfLine(crop.width);
    const ringBytes = RING * KINDS * (half + 2 * PAD) * 4;
    const ring = memory.allocate(ringBytes);
    const lineCodes = memory.allocate(half * 8);
    const blackRows = picture.black.rows;
    const blacks = memory.allocate(blackRows * half * 2 * 4);
    const block = memory.allocate(128);
    const { table, rowDeltas } = this.#prepareLevels(plan);
    // What is read beyond the picture's own values must be numbers, whatever lay there before.
    memory.bytes(ring, ringBytes).fill(0);
    const levels = levelsOf(picture);
    const flat = levelsOf({ ...picture, black: { ...picture.black, rowDeltas: null } });
    const black = memory.f32(blacks, blackRows * half * 2);
    for (let row = 0; row < blackRows; row += 1)
      for (let x = 0; x < half * 2; x += 1)
        black[row * half * 2 + x] = flat.black(row, mirrored(crop.left - MARGIN + x, active.width));

    const red = redAt[pattern];
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
    for (const [index, value] of [planes.r, planes.g, planes.b, mosaic].entries())
      words.setUint32(88 + index * 4, value, true);
    return block;
  }

  #prepareThree(plan: DevelopPlan, crop: Crop, codes: number, planes: Planes): number {
    const memory = this.#memory;
    const { picture } = plan;
    const { activeArea, width, black } = picture;
    const isFloat = picture.sampleFormat === 'float';
    const blacks = memory.allocate(black.rows * crop.width * 3 * 4);
    const block = memory.allocate(64);
    const { table, rowDeltas } = this.#prepareLevels(plan);
    const flat = { ...picture, black: { ...black, rowDeltas: null } };
    const of = ([0, 1, 2] as const).map((plane) => levelsOf(flat, plane));
    const values = memory.f32(blacks, black.rows * crop.width * 3);
    for (let row = 0; row < black.rows; row += 1)
      for (let x = 0; x < crop.width; x += 1)
        for (const [plane, levels] of of.entries())
          values[(row * crop.width + x) * 3 + plane] = levels.black(row, crop.left + x);
    const words = new DataView(memory.memory.buffer, block, 64);
    const first = ((activeArea.top + crop.top) * width + activeArea.left + crop.left) * 3;
    const integers = [
      codes + first * (isFloat ? 4 : 2),
      width * 3,
      isFloat ? 1 : 0,
      crop.width,
      crop.top,
      table,
      blacks,
      black.rows,
      rowDeltas,
      planes.r,
      planes.g,
      planes.b,
    ];
    for (const [index, value] of integers.entries()) words.setUint32(index * 4, value, true);
    for (const plane of [0, 1, 2] as const)
      words.setFloat32(48 + plane * 4, levelsOf(picture, plane).scale, true);
    return block;
  }

  #need(): Prepared {
    if (this.#prepared === null) throw new Error('no plan is prepared');
    return this.#prepared;
  }

  /** What is developed of a frame, in pixels of the active area. */
  get crop(): Crop {
    return cropOf(this.#need().plan.picture);
  }

  /** Where a decoder may put the codes of the whole raw picture, line by line, and something behind them (media/formats/dng/kernel.ts); the view goes stale when the memory grows. */
  codes(): Samples {
    const { plan, codes } = this.#need();
    const { picture } = plan;
    const count = picture.width * picture.height * samplesOf(picture);
    return picture.sampleFormat === 'float' ? this.#memory.f32(codes, count) : this.#memory.u16(codes, count);
  }

  /** What the frame whose codes come next asks; those of the plan are made. Another frame's are forgotten. */
  correct(opcodes: readonly RawOpcode[]): void {
    const { picture, corrections = [] } = this.#need().plan;
    this.#corrections = placed(opcodes, picture, corrections);
  }

  /**
   * Linear camera RGB of a band of what is shown, not white-balanced, 1 where the sensor is full: from line `first` on as many lines as the plan works on at once,
   * or as there are. From codes of the whole raw picture, or, without them, from those that lie in `codes()`. The planes are the same for every band. Measured
   * values come through as they are, but for rounding and corrections. Throws RangeError for a band that does not follow the one before it.
   */
  camera(cfa?: Samples, first = 0): Planes {
    const { plan, lines, planes, whole } = this.#need();
    if (cfa !== undefined) {
      const codes = this.codes();
      if (cfa.length !== codes.length)
        throw new RangeError(`${cfa.length} codes for ${codes.length} samples`);
      codes.set(cfa);
    }
    if (first !== 0 && first !== this.#next)
      throw new RangeError(`a band from line ${first}, where line ${this.#next} is next`);
    const shown = shownOf(plan);
    const end = Math.min(first + lines, shown.height);
    this.#next = end;
    if (first === 0) {
      this.#beforeDemosaic();
      if (whole !== null) this.#makeWhole(whole);
    }
    if (whole === null) return isHalf(plan) ? this.#halfBand(first, end) : this.#band(first, end);
    this.#takeFromWhole(first, end);
    return { ...planes, count: shown.width * (end - first) };
  }

  /** Corrections of stored codes, and of the mosaic, which is put where the kernel takes it from. */
  #beforeDemosaic(): void {
    const { plan, mosaic } = this.#need();
    const { picture } = plan;
    const { width, height } = picture;
    for (const { list, correction } of this.#corrections)
      if (list === 1) fillBadPixels({ values: this.codes(), width, height }, correction);
    if (mosaic === 0) return;
    const active = sizeOf(picture.activeArea);
    const levels = levelsOf(picture);
    const values = this.#memory.f32(mosaic, active.width * active.height);
    const codes = this.codes();
    const { top, left } = picture.activeArea;
    const table =
      picture.linearisation === null
        ? null
        : Float32Array.from({ length: CODES }, (_, code) => levels.linear(code));
    for (let row = 0; row < active.height; row += 1) {
      const from = (top + row) * width + left;
      for (let column = 0; column < active.width; column += 1) {
        const code = codes[from + column] as number;
        values[row * active.width + column] =
          ((table === null ? code : (table[code] as number)) - levels.black(row, column)) * levels.scale;
      }
    }
    const lines = { values, stride: active.width, top: 0, left: 0, ...active };
    for (const one of this.#corrections) {
      if (one.list !== 2) continue;
      if (one.correction.kind === 'bad-list') fillBadPixels({ values, ...active }, one.correction);
      else correctLines(lines, 0, one);
    }
  }

  /** Lines of the prepared crop, with the corrections that are made of three planes; not those of a whole picture. */
  #band(first: number, end: number): Planes {
    const { plan, seen: crop, block, planes } = this.#need();
    this.#exports[plan.picture.pattern === null ? 'three' : plan.demosaic](block, first, end);
    const count = crop.width * (end - first);
    if (this.#prepared?.whole === null)
      for (const [plane, at] of [planes.r, planes.g, planes.b].entries())
        for (const one of this.#onPlanes())
          correctLines(
            {
              values: this.#memory.f32(at, count),
              stride: crop.width,
              top: crop.top + first,
              left: crop.left,
              width: crop.width,
              height: end - first,
            },
            plane,
            one,
          );
    return { ...planes, count };
  }

  /** Lines of blocks, each the mean of its pixels; without corrections behind the demosaic the kernel gives them at once. */
  #halfBand(first: number, end: number): Planes {
    const { plan, crop, block, planes } = this.#need();
    const { width } = halved(crop);
    const count = width * (end - first);
    if (plan.picture.pattern !== null && this.#onPlanes().length === 0) {
      this.#exports.halved(block, first, end);
      return { ...planes, count };
    }
    const band = this.#band(2 * first, 2 * end);
    for (const plane of [planes.r, planes.g, planes.b]) {
      const values = this.#memory.f32(plane, band.count);
      for (let line = 0, to = 0; line < end - first; line += 1)
        for (let x = 0, from = 2 * line * crop.width; x < width; x += 1, from += 2, to += 1)
          values[to] = blockMean(values, from, crop.width);
    }
    return { ...planes, count };
  }

  /** Behind the demosaic; where every pixel has all colours, list 2 as well. */
  #onPlanes(): readonly Placed[] {
    const { picture } = this.#need().plan;
    return this.#corrections.filter(({ list }) => list === 3 || (list === 2 && picture.pattern === null));
  }

  /** The whole active area, corrected and warped. */
  #makeWhole({ planes: whole, warped, warp }: Whole): void {
    const { crop, seen, planes, lines } = this.#need();
    const memory = this.#memory;
    const size = crop.width * crop.height;
    const [above, before] = [crop.top - seen.top, crop.left - seen.left];
    for (let first = 0; first < seen.height; first += lines) {
      const band = this.#band(first, Math.min(first + lines, seen.height));
      for (const [plane, at] of [planes.r, planes.g, planes.b].entries()) {
        const [to, values] = [memory.f32(whole[plane] as number, size), memory.f32(at, band.count)];
        for (let line = Math.max(first, above); (line - first) * seen.width < band.count; line += 1) {
          const start = (line - first) * seen.width + before;
          to.set(values.subarray(start, start + crop.width), (line - above) * crop.width);
        }
      }
    }
    let [now, next] = [whole, warped];
    for (const one of this.#onPlanes()) {
      const { correction, bounds } = one;
      if (correction.kind !== 'warp') {
        for (const [plane, at] of now.entries())
          correctLines({ values: memory.f32(at, size), stride: crop.width, ...crop }, plane, one);
        continue;
      }
      if (next === null) throw new Error('a warp that was not prepared for');
      const isPart = bounds.width < crop.width || bounds.height < crop.height;
      if (isPart)
        for (const [plane, at] of next.entries())
          memory.f32(at, size).set(memory.f32(now[plane] as number, size));
      this.#warp({ from: now, to: next, width: crop.width, at: warp }, correction, bounds);
      [now, next] = [next, now];
    }
    this.#picture = now;
  }

  /** Planes that are warped alike at once. */
  #warp(
    {
      from,
      to,
      width,
      at,
    }: { readonly from: Three; readonly to: Three; readonly width: number; readonly at: number },
    { planes, x, y }: Extract<Correction, { readonly kind: 'warp' }>,
    bounds: Bounds,
  ): void {
    const first = (bounds.top * width + bounds.left) * 4;
    const list = at + 8 * WARP_FACTORS;
    const pairs = new Uint32Array(this.#memory.memory.buffer, list, 6);
    for (const [plane, source] of from.entries())
      pairs.set([source + first, (to[plane] as number) + first], 2 * plane);
    for (const [plane, coefficients] of planes.slice(0, 3).entries()) {
      this.#memory.f64(at, WARP_FACTORS).set(warpFactors(coefficients, x, y, bounds));
      const count = plane === planes.length - 1 ? 3 - plane : 1;
      this.#warping.warp(list + 8 * plane, count, width, bounds.width, bounds.height, at);
    }
  }

  /** A band of what is shown, upright. */
  #takeFromWhole(first: number, end: number): void {
    const { plan, crop, planes } = this.#need();
    const { left, top, ...size } = cropOf(plan.picture);
    const half = isHalf(plan);
    const shown = half ? halved(size) : size;
    const by = half ? 2 : 1;
    const { turn = 0, mirrored = false } = plan;
    const { width } = turned(shown, turn);
    /** Where a pixel lies in the sensor's picture. */
    const place = (x: number, line: number): number => {
      const { x: column, y: row } = beforeTurn({ x, y: line }, { turn, mirrored }, shown);
      return (top + by * row) * crop.width + left + by * column;
    };
    // From the first pixel of a line how far it is to the next one.
    const step = place(1, 0) - place(0, 0);
    const start = (line: number): number => place(0, line);
    for (const [plane, at] of [planes.r, planes.g, planes.b].entries()) {
      const values = this.#memory.f32(this.#picture[plane] as number, crop.width * crop.height);
      const out = this.#memory.f32(at, width * (end - first));
      if (step === 1) {
        for (let line = first; line < end; line += 1)
          out.set(values.subarray(start(line), start(line) + width), (line - first) * width);
        continue;
      }
      for (let line = first; line < end; line += 1)
        for (let x = 0, place = start(line), to = (line - first) * width; x < width; x += 1, place += step)
          out[to + x] = half ? blockMean(values, place, crop.width) : (values[place] as number);
    }
  }

  /** Linear AP0 in place of linear camera RGB: highlights by the plan's policy, then matrix and exposure. Any planes of this memory. */
  toAp0(planes: Planes): Planes {
    const { plan, factors } = this.#need();
    this.#exports.toAp0(planes.r, planes.g, planes.b, planes.count, factors, LED[plan.highlights]);
    return planes;
  }
}

const WARP = opcodeName(1);

const isHalf = ({ demosaic }: Pick<DevelopPlan, 'demosaic'>): boolean => demosaic === 'half';

/** As it is given out. */
const shownOf = (plan: DevelopPlan): { readonly width: number; readonly height: number } =>
  turned(isHalf(plan) ? halved(cropOf(plan.picture)) : cropOf(plan.picture), plan.turn ?? 0);

/** `crop` from a line or column before it on where blocks that begin with what is shown begin there. */
function fromBlock({ left, top, width, height }: Crop, shown: Crop): Crop {
  const [above, before] = [(shown.top - top) & 1, (shown.left - left) & 1];
  return { left: left - before, top: top - above, width: width + before, height: height + above };
}

/** Of four pixels from `at` on, in two lines. */
const blockMean = (values: Float32Array, at: number, stride: number): number =>
  ((values[at] as number) +
    (values[at + 1] as number) +
    (values[at + stride] as number) +
    (values[at + stride + 1] as number)) /
  4;

/** As the kernel `toAp0` counts them. */
const LED: Readonly<Record<HighlightPolicy, number>> = { keep: 0, neutral: 1, 'by-channel': 2 };

/** Values of half a line with its margins, a multiple of 4. */
const halfLine = (width: number): number => Math.ceil((width + 2 * MARGIN) / 8) * 4;
