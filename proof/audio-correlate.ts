/** Normalised cross-correlation of a short signal with every place of a longer one. */

/** In place, radix 2: a length of a power of two; `sign` -1 forwards, 1 backwards (not scaled). */
function transform(re: Float64Array, im: Float64Array, sign: 1 | -1): void {
  const size = re.length;
  for (let index = 1, mirror = 0; index < size; index++) {
    let bit = size >> 1;
    for (; mirror & bit; bit >>= 1) mirror ^= bit;
    mirror ^= bit;
    if (index < mirror) {
      [re[index], re[mirror]] = [re[mirror] as number, re[index] as number];
      [im[index], im[mirror]] = [im[mirror] as number, im[index] as number];
    }
  }
  for (let length = 2; length <= size; length *= 2) {
    const half = length / 2;
    for (let step = 0; step < half; step++) {
      const cos = Math.cos((2 * Math.PI * step) / length);
      const sin = sign * Math.sin((2 * Math.PI * step) / length);
      for (let a = step; a < size; a += length) {
        const b = a + half;
        const x = (re[b] as number) * cos - (im[b] as number) * sin;
        const y = (re[b] as number) * sin + (im[b] as number) * cos;
        re[b] = (re[a] as number) - x;
        im[b] = (im[a] as number) - y;
        re[a] = (re[a] as number) + x;
        im[a] = (im[a] as number) + y;
      }
    }
  }
}

/** For each shift s from 0 to long.length - short.length the correlation of `short` with long[s ...], -1 to 1; 0 where one of them is silent. */
export function correlations(short: Float64Array, long: Float64Array): Float64Array {
  const count = Math.max(0, long.length - short.length + 1);
  const energy = short.reduce((sum, value) => sum + value * value, 0);
  let size = 2;
  while (size < long.length + short.length) size *= 2;
  // Both are real: one goes in as the real part, the other as the imaginary one.
  const re = new Float64Array(size);
  const im = new Float64Array(size);
  re.set(long);
  im.set(short);
  transform(re, im, -1);
  const productRe = new Float64Array(size);
  const productIm = new Float64Array(size);
  for (let index = 0; index < size; index++) {
    const mirror = (size - index) % size;
    const [a, b, c, d] = [
      re[index] as number,
      im[index] as number,
      re[mirror] as number,
      im[mirror] as number,
    ];
    const [longRe, longIm, shortRe, shortIm] = [(a + c) / 2, (b - d) / 2, (b + d) / 2, (c - a) / 2];
    productRe[index] = longRe * shortRe + longIm * shortIm;
    productIm[index] = longIm * shortRe - longRe * shortIm;
  }
  transform(productRe, productIm, 1);
  const result = new Float64Array(count);
  const sums = new Float64Array(long.length + 1);
  for (let index = 0; index < long.length; index++)
    sums[index + 1] = (sums[index] as number) + (long[index] as number) ** 2;
  const whole = sums[long.length] as number;
  for (let shift = 0; shift < count; shift++) {
    const local = (sums[shift + short.length] as number) - (sums[shift] as number);
    // Against the whole: what the running sum leaves over of a silent stretch is rounding.
    if (energy > 0 && local > whole * 1e-12)
      result[shift] = (productRe[shift] as number) / size / Math.sqrt(energy * local);
  }
  return result;
}
