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
    const [x, y, z] = [r - baseRed, g - baseGreen, b - baseBlue];
    const near = baseRed * stepRed + baseGreen * stepGreen + baseBlue * stepBlue;
    let first = stepRed;
    let second = stepGreen;
    let [far, middle, close] = [x, y, z];
    if (x >= y) {
      if (y < z) {
        if (x >= z) [second, middle, close] = [stepBlue, z, y];
        else [first, second, far, middle, close] = [stepBlue, stepRed, z, x, y];
      }
    } else if (z > y) [first, second, far, middle, close] = [stepBlue, stepGreen, z, y, x];
    else if (z > x) [first, second, far, middle, close] = [stepGreen, stepBlue, y, z, x];
    else [first, second, far, middle, close] = [stepGreen, stepRed, y, x, z];
    const one = near + first;
    const two = one + second;
    const white = near + stepRed + stepGreen + stepBlue;
    const give = (channel: number): number =>
      (1 - far) * (values[near + channel] as number) +
      (far - middle) * (values[one + channel] as number) +
      (middle - close) * (values[two + channel] as number) +
      close * (values[white + channel] as number);
    red[at] = most * give(0);
    green[at] = most * give(1);
    blue[at] = most * give(2);
  }
}
