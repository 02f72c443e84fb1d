/** A part of a neighbouring frame in every frame, which keeps the energy of the error small: sketches are linear, so it is found by least squares. It needs no averages that change: grain is enough. Pure. */
import type { SketchDifferences } from './error.ts';
import type { SketchPlane } from './form.ts';

export interface Slope {
  readonly value: number;
  /** Standard deviation. */
  readonly deviation: number;
  /** Mean square of what the slope is of, as an error is counted. */
  readonly energy: number;
}

/** What stands still is seen once, however long it stands: the frames of a region are one observation, and regions tell how far a slope scatters. */
class Regions {
  readonly #products: Float64Array;
  readonly #squares: Float64Array;
  #count = 0;
  constructor(regions: number) {
    this.#products = new Float64Array(regions);
    this.#squares = new Float64Array(regions);
  }
  add(region: number, of: number, difference: number): void {
    this.#products[region] = (this.#products[region] as number) + of * difference;
    this.#squares[region] = (this.#squares[region] as number) + of * of;
    this.#count += 1;
  }
  slope(): Slope {
    const squares = this.#squares.reduce((sum, square) => sum + square, 0);
    if (squares === 0) return { value: 0, deviation: 0, energy: 0 };
    const value = this.#products.reduce((sum, product) => sum + product, 0) / squares;
    let left = 0;
    for (const [region, product] of this.#products.entries())
      left += (product - value * (this.#squares[region] as number)) ** 2;
    return { value, deviation: Math.sqrt(left) / squares, energy: squares / this.#count };
  }
}

/** Of the difference of the frame before and the frame behind: half of the part that is in each frame; negative: of the frame behind. */
export function mixOf(differences: SketchDifferences, plane: number): Slope {
  const { frames, planes, at, stepAt } = differences;
  const { from, columns, rows } = planes[plane] as SketchPlane;
  const mix = new Regions(columns * rows);
  for (let frame = 1; frame < frames - 1; frame += 1)
    for (let region = 0; region < columns * rows; region += 1)
      mix.add(
        region,
        -stepAt(frame, from + region) - stepAt(frame + 1, from + region),
        at(frame, from + region),
      );
  return mix.slope();
}
