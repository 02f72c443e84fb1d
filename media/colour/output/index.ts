/**
 * Output transforms: scene-linear ACES2065-1 to the code values of a display, in double precision, by their published definitions.
 *
 * - what displays there are, and which rendering fits which: displays.ts; the form in records: schema.ts
 * - ACES 2: aces2/rendering.ts; ACES 1: aces1/rendering.ts
 * - the reference gamut compression, a look before them: gamut-compression.ts
 * - their identifiers in the registry of ACES: transform-id.ts
 * - a table of one, for many pixels: table.ts
 * - standard range within BT.2100, which is no rendering: placed-sdr.ts
 * - values that are no numbers: special-values.ts
 */
import { between } from '../gamuts.ts';
import type { Triple } from '../matrix.ts';
import { renderHighRange, renderVideo } from './aces1/rendering.ts';
import { aces2Of, renderAces2 } from './aces2/rendering.ts';
import { type Rgb, encodings, gamutOfLimiting, misfit } from './displays.ts';
import type { OutputTransform, Rendering } from './schema.ts';
import { ordinary } from './special-values.ts';

export type { Display } from './displays.ts';
export type { OutputTransform, Rendering } from './schema.ts';
export { outputTransformId } from './transform-id.ts';

/** ACES2065-1 (linear AP0) to full-range display code values 0 to 1. `into` is written and given back. */
export type Output = (rgb: Triple, into?: Rgb) => Rgb;

/** Linear AP0 to linear light in the limiting primaries, 1.0 = 100 cd/m², in place. */
function rendererOf({ version, peak, limiting }: Rendering): (rgb: Rgb) => void {
  if (version === 'aces-2') return renderAces2(aces2Of(peak, limiting));
  return peak === 100 ? renderVideo(limiting) : renderHighRange(peak, limiting);
}

/**
 * Builds the tables of a transform (some 50 ms) and gives the function of one pixel. Throws RangeError when the rendering is not one for
 * the display.
 */
export function prepareOutput({ rendering, display }: OutputTransform): Output {
  const refused = misfit(rendering, display);
  if (refused !== null) throw new RangeError(refused);
  const render = rendererOf(rendering);
  const { limiting, encode } = encodings[display];
  // All of them have the white D65: nothing is adapted.
  const [[rr, rg, rb], [gr, gg, gb], [br, bg, bb]] = between(
    gamutOfLimiting(rendering.limiting),
    gamutOfLimiting(limiting),
    'bradford',
  );
  return (rgb, into = [0, 0, 0]) => {
    into[0] = ordinary(rgb[0]);
    into[1] = ordinary(rgb[1]);
    into[2] = ordinary(rgb[2]);
    render(into);
    const [r, g, b] = into;
    into[0] = Math.max(rr * r + rg * g + rb * b, 0);
    into[1] = Math.max(gr * r + gg * g + gb * b, 0);
    into[2] = Math.max(br * r + bg * g + bb * b, 0);
    encode(into);
    into[0] = Math.min(into[0], 1);
    into[1] = Math.min(into[1], 1);
    into[2] = Math.min(into[2], 1);
    return into;
  };
}
