/** Pictures that a lossy form has more or less trouble with. */
import { grainy, numbers, type Picture } from './encoded.ts';

export type Make = (width: number, height: number) => Picture;

const each = (
  width: number,
  height: number,
  value: (x: number, y: number, channel: number) => number,
): Picture => {
  const plane = (channel: number): Float32Array =>
    Float32Array.from({ length: width * height }, (_, at) =>
      value(at % width, Math.floor(at / width), channel),
    );
  return { r: plane(0), g: plane(1), b: plane(2) };
};
/** Flat cells with hard edges, some of them negative. */
const chart: Make = (width, height) =>
  each(
    width,
    height,
    (x, y, channel) =>
      [0, 0.18, 0.9, -0.05, 3, 0.02][(Math.floor(x / 11) + Math.floor(y / 7) + channel) % 6] as number,
  );
export const noise: Make = (width, height) => {
  const next = numbers(11);
  return each(width, height, () => next());
};
/** Lamps of thousands before dark. */
const lamps: Make = (width, height) =>
  each(width, height, (x, y, channel) => (x % 23 < 3 && y % 19 < 3 ? 4000 + 900 * channel : 0.01 + x / 5000));
/** Of an escape set, so that there is detail of every size. */
export const fractal: Make = (width, height) =>
  each(width, height, (x, y, channel) => {
    const [cx, cy] = [(3 * x) / width - 2.2, (2 * y) / height - 1];
    let [a, b, steps] = [0, 0, 0];
    for (; steps < 60 && a * a + b * b < 4; steps += 1) [a, b] = [a * a - b * b + cx, 2 * a * b + cy];
    return (steps / 60) ** (1 + channel / 2);
  });

export const pictures: readonly [string, Make][] = [
  ['grain', grainy],
  ['chart', chart],
  ['noise', noise],
  ['lamps', lamps],
  ['fractal', fractal],
];
