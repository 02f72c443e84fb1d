/** How different two colours of a display look: ΔE_ITP of ITU-R BT.2124, for whom a difference of 1 is just visible in the most critical viewing. */
import { encode } from '../curves.ts';
import { between, gamuts } from '../gamuts.ts';
import { type Triple, apply } from '../matrix.ts';
import { type Display, encodings, gamutOfLimiting } from './displays.ts';

/** I, T and P from linear BT.2020 in cd/m²: BT.2124, with the matrices of BT.2100, Table 7. */
function itpOf(light: Triple): Triple {
  const signal = (a: number, b: number, c: number): number =>
    encode({ name: 'pq', nits_of_one: 1 }, Math.max(a * light[0] + b * light[1] + c * light[2], 0) / 4096);
  const [l, m, s] = [signal(1688, 2146, 262), signal(683, 2951, 462), signal(99, 309, 3688)];
  return [
    (l + m) / 2,
    (0.5 * (6610 * l - 13613 * m + 7003 * s)) / 4096,
    (17933 * l - 17390 * m - 543 * s) / 4096,
  ];
}

/** Of two colours in code values of a display, 0 to 1. HLG is taken channel by channel, as greys are shown. */
export function differenceOf(display: Display): (one: Triple, other: Triple) => number {
  const { luminance, limiting } = encodings[display];
  const toBt2020 = between(gamutOfLimiting(limiting), gamuts.bt2020, 'bradford');
  const seen = ([r, g, b]: Triple): Triple =>
    itpOf(apply(toBt2020, [luminance(r), luminance(g), luminance(b)]));
  return (one, other) => {
    const [x, y] = [seen(one), seen(other)];
    return 720 * Math.hypot(x[0] - y[0], x[1] - y[1], x[2] - y[2]);
  };
}
