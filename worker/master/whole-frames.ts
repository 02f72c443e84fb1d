/** Sketches of what a thread hands to its encoders: rounded here once more, by another kernel than the encoders'. */
import { type KernelMemory, kernels } from '../../media/kernels/memory.ts';
import type { SceneLinearRange } from '../../proof/value-range.ts';
import { curveSteps } from '../../proof/curve-steps.ts';
import { columnEnds, rowOfLine, SKETCH_VALUES } from '../../proof/whole-frame-sketch.ts';

/** Addresses of three planes in the thread's memory, `count` values each: whole lines. */
interface ThreePlanes {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly count: number;
}

export interface Sketching {
  begin(): void;
  /** The next lines, from the top. */
  take(taken: ThreePlanes): void;
  sums(): Int32Array;
}

type Take = (
  ...args: [
    r: number,
    g: number,
    b: number,
    width: number,
    lines: number,
    first: number,
    rows: number,
    cuts: number,
    sums: number,
    drawn: number,
  ]
) => void;
interface Kernel {
  takeHalves: Take;
  takeCodes: Take;
  toWords(from: number, count: number, table: number, to: number): void;
  takeRange(r: number, g: number, b: number, count: number, to: number): void;
}

export interface Ranging {
  begin(): void;
  take(sceneLinear: ThreePlanes): void;
  range(): SceneLinearRange;
}

/** Least and greatest of three channels, and a count behind them. */
const RANGE_WORDS = 7;

export async function rangeOf(memory: KernelMemory): Promise<Ranging> {
  const kernel = await kernels<Kernel>('whole-frames', memory);
  const at = memory.allocate(4 * RANGE_WORDS);
  return {
    begin() {
      const values = memory.f32(at, 6);
      values.fill(Number.POSITIVE_INFINITY, 0, 3);
      values.fill(Number.NEGATIVE_INFINITY, 3, 6);
      memory.i32(at, RANGE_WORDS)[6] = 0;
    },
    take: ({ r, g, b, count }) => kernel.takeRange(r, g, b, count, at),
    range() {
      const [leastR = 0, leastG = 0, leastB = 0, mostR = 0, mostG = 0, mostB = 0] = memory.f32(at, 6);
      return {
        least: [leastR, leastG, leastB],
        greatest: [mostR, mostG, mostB],
        overWhite: memory.i32(at, RANGE_WORDS)[6] as number,
      };
    },
  };
}

/** `values`: what the planes hold, linear AP0 as float32 that OpenEXR gets as half floats (`curve`: as steps on the curve of DWA), or codes (DPX); those of 16 bits count with the sign that their words have. */
export async function wholeFrames(
  memory: KernelMemory,
  { width, height, values }: { width: number; height: number; values: 'halves' | 'curve' | 'codes' },
): Promise<Sketching> {
  const kernel = await kernels<Kernel>('whole-frames', memory);
  const take =
    values === 'halves'
      ? kernel.takeHalves
      : values === 'curve'
        ? onCurve(kernel, memory, width)
        : kernel.takeCodes;
  const ends = columnEnds(width);
  const rows = memory.allocate(height);
  const cuts = memory.allocate(4 * ends.length);
  const sums = memory.allocate(4 * SKETCH_VALUES);
  const drawn = memory.allocate(width + SLACK);
  memory.bytes(rows, height).set(rowOfLine(height));
  memory.i32(cuts, ends.length).set(ends);
  let next = 0;
  return {
    begin() {
      memory.i32(sums, SKETCH_VALUES).fill(0);
      next = 0;
    },
    take({ r, g, b, count }) {
      const lines = count / width;
      take(r, g, b, width, lines, next, rows, cuts, sums, drawn);
      next += lines;
    },
    sums: () => memory.i32(sums, SKETCH_VALUES).slice(),
  };
}

/** What the kernels read behind a line. */
const SLACK = 64;

/** As `takeCodes`, line by line. */
function onCurve(kernel: Kernel, memory: KernelMemory, width: number): Take {
  const steps = curveSteps();
  const table = memory.allocate(steps.byteLength);
  memory.u16(table, steps.length).set(steps);
  const line = (): number => memory.allocate(2 * width + SLACK);
  const [red, green, blue] = [line(), line(), line()];
  return (...[r, g, b, , lines, first, ...where]) => {
    for (let at = 0; at < lines; at += 1) {
      for (const [from, to] of [
        [r, red],
        [g, green],
        [b, blue],
      ] as const)
        kernel.toWords(from + 4 * width * at, width, table, to);
      kernel.takeCodes(red, green, blue, width, 1, first + at, ...where);
    }
  };
}
