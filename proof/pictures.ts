/** Pictures of fingerprints as numbers to calculate with. */
import { CELLS } from './form.ts';

/** Seen cells of fingerprints, frame by frame. */
export class Pictures {
  readonly values: Float32Array;
  readonly count: number;
  readonly cells: number;
  constructor(luma: Uint16Array, views: number, view: number, seen: Uint8Array) {
    const at = [...seen.keys()].filter((cell) => seen[cell] === 1);
    this.cells = at.length;
    this.count = Math.floor(luma.length / (CELLS * views));
    this.values = new Float32Array(this.count * this.cells);
    for (let frame = 0; frame < this.count; frame += 1) {
      const from = (frame * views + view) * CELLS;
      for (let cell = 0; cell < this.cells; cell += 1)
        this.values[frame * this.cells + cell] = luma[from + (at[cell] as number)] as number;
    }
  }
  /** Root mean square difference of the cells from their mean. */
  contrast(frame: number): number {
    let sum = 0;
    let squares = 0;
    for (let at = frame * this.cells; at < (frame + 1) * this.cells; at += 1) {
      const value = this.values[at] as number;
      sum += value;
      squares += value * value;
    }
    return Math.sqrt(Math.max(0, squares / this.cells - (sum / this.cells) ** 2));
  }
  mean(frame: number): number {
    let sum = 0;
    for (let at = frame * this.cells; at < (frame + 1) * this.cells; at += 1)
      sum += this.values[at] as number;
    return sum / this.cells;
  }
}

export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? 0;
}
