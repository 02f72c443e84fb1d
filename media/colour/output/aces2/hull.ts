/** Gamut compression of ACES 2: colourfulness, and lightness with it, into the hull of the limiting primaries (aces-core, April 2025). */
import { LIGHTNESS_POWER, lightnessOf } from './appearance.ts';
import type { ToneScale } from './tone-scale.ts';

const THRESHOLD = 0.75;
/** What is smoothed about the cusp, in parts of its colourfulness. */
const SMOOTH = 0.12;
/** Cusps are stored a little further out, so that the smoothed hull still lies outside. */
export const CUSP_MARGIN = 1 + 0.27 * SMOOTH;

export interface Hull {
  /** Lightness of the peak, and of grey. */
  readonly most: number;
  readonly middle: number;
  readonly focusDistance: number;
  readonly lowerPower: number;
}

export function hullOf({ peak, grey }: ToneScale): Hull {
  const stops = Math.log10(peak / 100);
  return {
    most: lightnessOf(peak),
    middle: lightnessOf(100 * grey),
    focusDistance: 1.35 + 1.35 * 1.75 * stops,
    lowerPower: 1 / (1.14 + 0.07 * stops),
  };
}

/** Of one hue. `upperPower` is 1/γ of the upper hull; `reach` the colourfulness of AP1 at the peak's lightness. */
export interface HueHull {
  readonly cuspLightness: number;
  readonly cuspColourfulness: number;
  readonly upperPower: number;
  readonly reach: number;
}

const lerp = (from: number, to: number, part: number): number => from + (to - from) * part;

/** Where lines of compression lead, and how steep they are for a lightness. */
interface Focus {
  readonly focus: number;
  readonly most: number;
  readonly gain: number;
}

/** Lightness at which the line of compression through a colour meets the axis of neutrals. */
function axisOf(lightness: number, colourfulness: number, { focus, most, gain }: Focus): number {
  const scaled = colourfulness / gain;
  const a = scaled / focus;
  if (lightness < focus) {
    const b = 1 - scaled;
    return (2 * lightness) / (b + Math.sqrt(b * b + 4 * a * lightness));
  }
  const b = -(1 + scaled + most * a);
  const c = most * scaled + lightness;
  return (-2 * c) / (b - Math.sqrt(b * b - 4 * a * c));
}

/** Where a line from the axis leaves a boundary that is a power of lightness. */
interface Boundary {
  readonly power: number;
  readonly lightness: number;
  readonly colourfulness: number;
  readonly reference: number;
}
const boundary = (
  axis: number,
  slope: number,
  { power, lightness, colourfulness, reference }: Boundary,
): number => (reference * (axis / reference) ** power * colourfulness) / (lightness - slope * colourfulness);

/** The line of compression through a colour, and the colourfulness at which it leaves the hull. */
export interface Line {
  readonly axis: number;
  readonly slope: number;
  readonly edge: number;
}

export function lineThrough(hull: Hull, hue: HueHull, lightness: number, colourfulness: number): Line {
  const { most, middle, focusDistance, lowerPower } = hull;
  const { cuspLightness, cuspColourfulness, upperPower } = hue;
  const focus = lerp(cuspLightness, middle, Math.min(1, 1.3 - cuspLightness / most));
  const threshold = lerp(cuspLightness, most, 0.3);
  const above = lightness > threshold ? Math.log10((most - threshold) / Math.max(1e-4, most - lightness)) : 0;
  const gain = most * focusDistance * (1 + above * above);
  const towards: Focus = { focus, most, gain };
  const axis = axisOf(lightness, colourfulness, towards);
  const cuspAxis = axisOf(cuspLightness, cuspColourfulness, towards);
  const slope = ((axis < focus ? axis : most - axis) * (axis - focus)) / (focus * gain);
  const lower = boundary(axis, slope, {
    power: lowerPower,
    lightness: cuspLightness,
    colourfulness: cuspColourfulness,
    reference: cuspAxis,
  });
  const upper = boundary(most - axis, -slope, {
    power: upperPower,
    lightness: most - cuspLightness,
    colourfulness: cuspColourfulness,
    reference: most - cuspAxis,
  });
  const band = SMOOTH * cuspColourfulness;
  const near = Math.max(band - Math.abs(lower - upper), 0) / band;
  return { axis, slope, edge: Math.min(lower, upper) - (near * near * near * band) / 6 };
}

/** Written in place. */
interface Colour {
  lightness: number;
  colourfulness: number;
}

/** Brings a colour into the hull along its line. Hue does not change. */
export function compressIntoHull(hull: Hull, hue: HueHull, colour: Colour): void {
  const { lightness, colourfulness } = colour;
  if (!(lightness > 0)) {
    colour.lightness = 0;
    colour.colourfulness = 0;
    return;
  }
  if (colourfulness <= 0 || lightness > hull.most) {
    colour.colourfulness = 0;
    return;
  }
  const { axis, slope, edge } = lineThrough(hull, hue, lightness, colourfulness);
  if (!(edge > 0)) {
    colour.colourfulness = 0;
    return;
  }
  const reach = boundary(axis, slope, {
    power: 1 / LIGHTNESS_POWER,
    lightness: hull.most,
    colourfulness: hue.reach,
    reference: hull.most,
  });
  const part = Math.max(edge / reach, THRESHOLD);
  const from = part * edge;
  let compressed = colourfulness;
  if (colourfulness > from && part < 1) {
    const scale = (reach - from) / ((reach - from) / (edge - from) - 1);
    const beyond = (colourfulness - from) / scale;
    compressed = from + (scale * beyond) / (1 + beyond);
  }
  colour.lightness = axis + compressed * slope;
  colour.colourfulness = compressed;
}
