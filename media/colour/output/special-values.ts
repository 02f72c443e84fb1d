/**
 * What is no number, and infinities, in scene-linear pictures. No rule of ACES says what becomes of them; without one, infinity less
 * infinity in the first matrix turns white to black. Here what is no number is 0, and what lies beyond the greatest 16-bit
 * float, in which ACES2065-1 is exchanged (SMPTE ST 2065-4), is that float.
 */

/** The greatest finite 16-bit float. */
export const MOST_SCENE = 65504;

export const ordinary = (value: number): number =>
  Number.isNaN(value) ? 0 : Math.min(Math.max(value, -MOST_SCENE), MOST_SCENE);

export interface SpecialCount {
  nans: number;
  infinities: number;
}

/** How many values of a picture `ordinary` takes for others: they belong into the report of what is made of it. */
export function countSpecial(values: ArrayLike<number>): SpecialCount {
  const count: SpecialCount = { nans: 0, infinities: 0 };
  for (let index = 0; index < values.length; index += 1) {
    const value = values[index] as number;
    if (Number.isNaN(value)) count.nans += 1;
    else if (!Number.isFinite(value)) count.infinities += 1;
  }
  return count;
}
