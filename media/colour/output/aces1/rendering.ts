/** The renderings of ACES 1.3 (aces-dev): video of 100 cd/m² in a dim room, and high dynamic range with grey at 15 cd/m². */
import { type Gamut, adapt, between, gamuts, toXyz } from '../../gamuts.ts';
import { type Matrix, invert, multiply } from '../../matrix.ts';
import { type Limiting, type Rgb, gamutOfLimiting } from '../displays.ts';
import { luminanceWeights, saturate, sweeten } from './reference-rendering.ts';
import { CINEMA, HIGH_RANGE_BLACK, cinemaCurve, highRangeCurve, referenceCurve } from './tone-curves.ts';

const DIM_SURROUND = 0.9811;
const DIM_SATURATION = 0.93;

function each(rgb: Rgb, change: (value: number) => number): void {
  rgb[0] = change(rgb[0]);
  rgb[1] = change(rgb[1]);
  rgb[2] = change(rgb[2]);
}
function multiplied([[rr, rg, rb], [gr, gg, gb], [br, bg, bb]]: Matrix, rgb: Rgb): void {
  const [r, g, b] = rgb;
  rgb[0] = rr * r + rg * g + rb * b;
  rgb[1] = gr * r + gg * g + gb * b;
  rgb[2] = br * r + bg * g + bb * b;
}
const limited = (value: number): number => Math.min(Math.max(value, 0), 1);

/** `ODT.Academy.Rec709_100nits_dim` and its like: scene-linear AP0 to linear light in the primaries, 1.0 = 100 cd/m², in place. */
export function renderVideo(limiting: Limiting): (rgb: Rgb) => void {
  const toLimit = between(gamuts.ap1, gamutOfLimiting(limiting), 'bradford');
  return (rgb) => {
    sweeten(rgb);
    each(rgb, (value) => (cinemaCurve(referenceCurve(value)) - CINEMA.black) / (CINEMA.white - CINEMA.black));
    const [r, g, b] = luminanceWeights;
    const luminance = r * rgb[0] + g * rgb[1] + b * rgb[2];
    const dimmed = luminance > 0 ? luminance ** (DIM_SURROUND - 1) : 0;
    each(rgb, (value) => value * dimmed);
    saturate(rgb, DIM_SATURATION);
    multiplied(toLimit, rgb);
    each(rgb, limited);
  };
}

/**
 * `RRTODT.Academy.Rec2020_*nits_15nits_ST2084` and its like: scene-linear AP0 to linear light in the limiting primaries, 1.0 = 100 cd/m², in
 * place. As published, colours are limited to the primaries before the white is adapted to D65.
 */
export function renderHighRange(peak: number, limiting: Limiting): (rgb: Rgb) => void {
  const curve = highRangeCurve(peak);
  const gamut: Gamut = gamutOfLimiting(limiting);
  const fromXyz = invert(toXyz(gamut));
  const toLimit = multiply(fromXyz, toXyz(gamuts.ap1));
  const adapted = multiply(fromXyz, adapt(gamuts.ap1.white, gamut.white, 'bradford'), toXyz(gamut));
  return (rgb) => {
    sweeten(rgb);
    each(rgb, (value) => (curve(value) - HIGH_RANGE_BLACK) / (peak - HIGH_RANGE_BLACK));
    multiplied(toLimit, rgb);
    each(rgb, limited);
    multiplied(adapted, rgb);
    each(rgb, (value) => (value * peak) / 100);
  };
}
