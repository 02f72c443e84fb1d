/** Sketches of what a thread hands to its encoders: rounded here once more, by another kernel than the encoders'. */
import { type KernelMemory, kernels } from '../../media/kernels/memory.ts';
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
  ]
) => void;
interface Kernel {
  takeHalves: Take;
  takeCodes: Take;
}

/** `values`: what the planes hold, linear AP0 as float32 that OpenEXR gets as half floats, or codes of at most 15 bits (DPX). */
export async function wholeFrames(
  memory: KernelMemory,
  { width, height, values }: { width: number; height: number; values: 'halves' | 'codes' },
): Promise<Sketching> {
  const kernel = await kernels<Kernel>('whole-frames', memory);
  const take = values === 'halves' ? kernel.takeHalves : kernel.takeCodes;
  const ends = columnEnds(width);
  const rows = memory.allocate(height);
  const cuts = memory.allocate(4 * ends.length);
  const sums = memory.allocate(4 * SKETCH_VALUES);
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
      take(r, g, b, width, lines, next, rows, cuts, sums);
      next += lines;
    },
    sums: () => memory.i32(sums, SKETCH_VALUES).slice(),
  };
}
