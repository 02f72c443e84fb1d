/**
 * The rendering of ACES 2: scene-linear ACES2065-1 to linear light in the limiting primaries. Written from the ACES library
 * (aces-core, April 2025) in double precision; hue never changes after the first limit.
 */
import { ap0ToAp1, gamuts } from '../../gamuts.ts';
import { type Limiting, type Rgb, gamutOfLimiting } from '../displays.ts';
import {
  type Appearance,
  type ConeSet,
  appearanceOf,
  coneSet,
  hueOf,
  lightnessOf,
  luminanceOf,
  newAppearance,
  rgbOf,
} from './appearance.ts';
import { type ChromaCompression, chromaCompressionOf, compressChroma } from './chroma.ts';
import { type Hull, compressIntoHull, hullOf } from './hull.ts';
import { type Tables, hullAt, reachAt, tablesOf } from './tables.ts';
import { type ToneScale, toneScaleOf, toneScaled } from './tone-scale.ts';

export interface Aces2 {
  readonly toneScale: ToneScale;
  readonly chroma: ChromaCompression;
  readonly hull: Hull;
  readonly tables: Tables;
  readonly limit: ConeSet;
  /** AP1 above this is cut before anything else. */
  readonly forwardLimit: number;
}

/** `peak` in cd/m². */
export function aces2Of(peak: number, limiting: Limiting): Aces2 {
  const toneScale = toneScaleOf(peak);
  const hull = hullOf(toneScale);
  const limit = coneSet(gamutOfLimiting(limiting));
  const forwardLimit = 8 * toneScale.hit;
  return {
    toneScale,
    chroma: chromaCompressionOf(peak, hull.most),
    hull,
    limit,
    forwardLimit,
    tables: tablesOf(limit, hull, peak, forwardLimit),
  };
}

/** AP0 and AP1 have one white: the cones of AP1 are those of AP0 after the way back from AP1. */
const input = coneSet(gamuts.ap1);
const between = (value: number, most: number): number => Math.min(Math.max(value, 0), most);

/** The first stage: limited to AP1, as lightness, colourfulness and hue. */
export function seen({ forwardLimit }: Pick<Aces2, 'forwardLimit'>, rgb: Rgb, into: Appearance): Appearance {
  const [[rr, rg, rb], [gr, gg, gb], [br, bg, bb]] = ap0ToAp1;
  const [r, g, b] = rgb;
  return appearanceOf(
    input,
    [
      between(rr * r + rg * g + rb * b, forwardLimit),
      between(gr * r + gg * g + gb * b, forwardLimit),
      between(br * r + bg * g + bb * b, forwardLimit),
    ],
    into,
  );
}

/** The second: tone scale and chroma compression, in place. */
export function tone({ toneScale, chroma, tables }: Aces2, colour: Appearance, hue: number): void {
  const lightness = lightnessOf(toneScaled(toneScale, luminanceOf(colour.lightness) / 100));
  colour.colourfulness = compressChroma(chroma, colour, lightness, reachAt(tables, hue));
  colour.lightness = lightness;
}

/** Scene-linear AP0 to linear light, 1.0 = 100 cd/m², no channel below 0 or above the peak; in place. */
export function renderAces2(aces2: Aces2): (rgb: Rgb) => void {
  const { hull, tables, limit, toneScale } = aces2;
  const colour = newAppearance();
  const hueHull = { cuspLightness: 0, cuspColourfulness: 0, upperPower: 0, reach: 0 };
  const white = toneScale.peak / 100;
  return (rgb) => {
    seen(aces2, rgb, colour);
    const hue = hueOf(colour);
    tone(aces2, colour, hue);
    hullAt(tables, hue, hueHull);
    compressIntoHull(hull, hueHull, colour);
    rgbOf(limit, colour, rgb);
    rgb[0] = between(rgb[0], white);
    rgb[1] = between(rgb[1], white);
    rgb[2] = between(rgb[2], white);
  };
}
