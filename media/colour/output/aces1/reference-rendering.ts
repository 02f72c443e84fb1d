/** What the reference rendering of ACES 1 does before its tone curve (aces-dev 1.3, `ACESlib.RRT_Common.ctl`): glow, red and saturation. */
import { ap0ToAp1, gamuts, toXyz } from '../../gamuts.ts';
import type { Rgb } from '../displays.ts';

const TINY = 1e-10;
const GLOW = { gain: 0.05, middle: 0.08 } as const;
const RED = { scale: 0.82, pivot: 0.03, width: 135 } as const;
const SATURATION = 0.96;

/** Luminance of AP1. */
export const luminanceWeights = toXyz(gamuts.ap1)[1];

/** Toward or away from the luminance of AP1, in place. */
export function saturate(rgb: Rgb, amount: number): void {
  const [r, g, b] = luminanceWeights;
  const luminance = r * rgb[0] + g * rgb[1] + b * rgb[2];
  rgb[0] = luminance + amount * (rgb[0] - luminance);
  rgb[1] = luminance + amount * (rgb[1] - luminance);
  rgb[2] = luminance + amount * (rgb[2] - luminance);
}

function glowGain([r, g, b]: Rgb, saturation: number): number {
  const chroma = Math.sqrt(Math.max(b * (b - g) + g * (g - r) + r * (r - b), 0));
  const yc = (r + g + b + 1.75 * chroma) / 3;
  const x = (saturation - 0.4) / 0.2;
  const t = Math.max(0, 1 - Math.abs(x / 2));
  const gain = (GLOW.gain * (1 + Math.sign(x) * (1 - t * t))) / 2;
  if (yc <= (2 / 3) * GLOW.middle) return gain;
  return yc >= 2 * GLOW.middle ? 0 : gain * (GLOW.middle / yc - 0.5);
}

/** 1 at red, a cubic B-spline over `width` degrees of hue. */
function redWeight([r, g, b]: Rgb): number {
  const hue = (Math.atan2(Math.sqrt(3) * (g - b), 2 * r - g - b) * 180) / Math.PI;
  const place = (Math.abs(hue) * 4) / RED.width;
  if (place >= 2) return 0;
  const weight = place < 1 ? 4 - 6 * place ** 2 + 3 * place ** 3 : (2 - place) ** 3;
  return weight / 4;
}

/** Scene-linear AP0 to AP1 before the tone curve, in place. */
export function sweeten(rgb: Rgb): void {
  const most = Math.max(rgb[0], rgb[1], rgb[2]);
  const least = Math.min(rgb[0], rgb[1], rgb[2]);
  const saturation = (Math.max(most, TINY) - Math.max(least, TINY)) / Math.max(most, 0.01);
  const gain = 1 + glowGain(rgb, saturation);
  rgb[0] *= gain;
  rgb[1] *= gain;
  rgb[2] *= gain;
  rgb[0] += redWeight(rgb) * saturation * (RED.pivot - rgb[0]) * (1 - RED.scale);
  const [[rr, rg, rb], [gr, gg, gb], [br, bg, bb]] = ap0ToAp1;
  const [r, g, b] = [Math.max(rgb[0], 0), Math.max(rgb[1], 0), Math.max(rgb[2], 0)];
  rgb[0] = Math.max(rr * r + rg * g + rb * b, 0);
  rgb[1] = Math.max(gr * r + gg * g + gb * b, 0);
  rgb[2] = Math.max(br * r + bg * g + bb * b, 0);
  saturate(rgb, SATURATION);
}
