/** A table in space looked up between its places, in double precision: a curve first, then tetrahedra along the grey diagonal, as ffmpeg's `lut1d` and `lut3d` have them. */

export interface SpaceTable {
  /** By code: where along a side of the table it lies, in codes. */
  readonly spread: Uint16Array;
  readonly size: number;
  /** R, G, B of each place, red fastest. */
  readonly values: Float32Array;
}

/**
 * Whole codes of 0 to `most`, in planes, and replaced by what the table gives, not rounded. Within a cube the way from the nearest corner of black
 * to that of white goes along one channel after the other, the farthest first.
 */
export function lookUp(
  { spread, size, values }: SpaceTable,
  [red, green, blue]: readonly [Float64Array, Float64Array, Float64Array],
  most: number,
): void {
  const scale = (size - 1) / most;
  const last = size - 2;
  const [stepRed, stepGreen, stepBlue] = [3, 3 * size, 3 * size * size];
  for (let at = 0; at < red.length; at += 1) {
    const r = (spread[red[at] as number] as number) * scale;
    const g = (spread[green[at] as number] as number) * scale;
    const b = (spread[blue[at] as number] as number) * scale;
    const baseRed = Math.min(Math.floor(r), last);
    const baseGreen = Math.min(Math.floor(g), last);
    const baseBlue = Math.min(Math.floor(b), last);
    const x = r - baseRed;
    const y = g - baseGreen;
    const z = b - baseBlue;
    const near = baseRed * stepRed + baseGreen * stepGreen + baseBlue * stepBlue;
    const white = near + stepRed + stepGreen + stepBlue;
    // The farthest channel is the first way from the near corner, the closest the last one to the far corner.
    const far = x > y ? (x > z ? x : z) : y > z ? y : z;
    const close = x < y ? (x < z ? x : z) : y < z ? y : z;
    const first = x === far ? stepRed : y === far ? stepGreen : stepBlue;
    const third = z === close ? stepBlue : y === close ? stepGreen : stepRed;
    const middle = x + y + z - far - close;
    const one = near + first;
    const two = white - third;
    const ofNear = most * (1 - far);
    const ofOne = most * (far - middle);
    const ofTwo = most * (middle - close);
    const ofWhite = most * close;
    red[at] =
      ofNear * (values[near] as number) +
      ofOne * (values[one] as number) +
      ofTwo * (values[two] as number) +
      ofWhite * (values[white] as number);
    green[at] =
      ofNear * (values[near + 1] as number) +
      ofOne * (values[one + 1] as number) +
      ofTwo * (values[two + 1] as number) +
      ofWhite * (values[white + 1] as number);
    blue[at] =
      ofNear * (values[near + 2] as number) +
      ofOne * (values[one + 2] as number) +
      ofTwo * (values[two + 2] as number) +
      ofWhite * (values[white + 2] as number);
  }
}
