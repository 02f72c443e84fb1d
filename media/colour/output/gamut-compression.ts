/**
 * The reference gamut compression of ACES 1.3 (`LMT.Academy.ReferenceGamutCompress.a1.v1.0`): colours far from neutral are brought nearer, channel by
 * channel, so that most of what lies outside of AP1 comes to lie inside. A look of its own, before all others: it changes the scene's light and is
 * never added where nobody asked for it.
 */
import { ap0ToAp1 } from '../gamuts.ts';
import { type Triple, apply, invert } from '../matrix.ts';
import { ordinary } from './special-values.ts';

interface Reach {
  /** Distance from neutral that comes to lie on the edge of AP1. */
  readonly limit: number;
  /** Up to here nothing changes. */
  readonly threshold: number;
}
const CYAN: Reach = { limit: 1.147, threshold: 0.815 };
const MAGENTA: Reach = { limit: 1.264, threshold: 0.803 };
const YELLOW: Reach = { limit: 1.312, threshold: 0.88 };
const POWER = 1.2;

function compressorOf({ limit, threshold }: Reach): (distance: number) => number {
  const scale = (limit - threshold) / (((1 - threshold) / (limit - threshold)) ** -POWER - 1) ** (1 / POWER);
  return (distance) => {
    if (distance < threshold) return distance;
    const x = (distance - threshold) / scale;
    return threshold + (scale * x) / (1 + x ** POWER) ** (1 / POWER);
  };
}
const [cyan, magenta, yellow] = [compressorOf(CYAN), compressorOf(MAGENTA), compressorOf(YELLOW)];
const ap1ToAp0 = invert(ap0ToAp1);

/** Scene-linear AP0 to scene-linear AP0. */
export function compressGamut(rgb: Triple): Triple {
  const [r, g, b] = apply(ap0ToAp1, [ordinary(rgb[0]), ordinary(rgb[1]), ordinary(rgb[2])]);
  const most = Math.max(r, g, b);
  if (most === 0) return apply(ap1ToAp0, [r, g, b]);
  const size = Math.abs(most);
  const nearer = (channel: number, compress: (distance: number) => number): number =>
    most - compress((most - channel) / size) * size;
  return apply(ap1ToAp0, [nearer(r, cyan), nearer(g, magenta), nearer(b, yellow)]);
}
