/** Two faults that run through a whole clip and keep its energy small: a gain of a plane, and a part of a neighbouring frame in every frame. Sketches are linear, so both are found by least squares. Pure. */
import type { SketchDifferences } from './error.ts';
import type { SketchPlane } from './form.ts';

export interface Slope {
  readonly value: number;
  /** Standard deviation. */
  readonly deviation: number;
  /** Mean square of what the slope is of, as an error is counted. */
  readonly energy: number;
}

export interface Drift {
  /** Of the values from the middle of the range: 0 is as it was. */
  readonly gain: Slope;
  /** Of the difference of the frame before and the frame behind: half of the part that is in each frame; negative: of the frame behind. */
  readonly mix: Slope;
}

class Sums {
  #products = 0;
  #squares = 0;
  #left = 0;
  #count = 0;
  #own = 0;
  add(of: number, difference: number): void {
    this.#own += of * difference;
    this.#squares += of * of;
    this.#count += 1;
  }
  /** What stands still is seen once, however long it stands: the products of a region are one observation. */
  endRegion(): void {
    this.#products += this.#own;
    this.#left += this.#own ** 2;
    this.#own = 0;
  }
  slope(): Slope {
    if (this.#squares === 0) return { value: 0, deviation: 0, energy: 0 };
    return {
      value: this.#products / this.#squares,
      // As large as the products scatter, whatever differs from region to region.
      deviation: Math.sqrt(this.#left) / this.#squares,
      energy: this.#squares / this.#count,
    };
  }
}

export function drift(differences: SketchDifferences, plane: number): Drift {
  const { frames, planes, at, fromMiddle, stepAt } = differences;
  const { from, columns, rows } = planes[plane] as SketchPlane;
  const gain = new Sums();
  const mix = new Sums();
  for (let number = from; number < from + columns * rows; number += 1) {
    for (let frame = 0; frame < frames; frame += 1) {
      const difference = at(frame, number);
      gain.add(fromMiddle(frame, number), difference);
      if (frame > 0 && frame < frames - 1)
        mix.add(-stepAt(frame, number) - stepAt(frame + 1, number), difference);
    }
    gain.endRegion();
    mix.endRegion();
  }
  return { gain: gain.slope(), mix: mix.slope() };
}
