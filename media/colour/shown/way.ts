/** The colour way of a clip in double precision: from the R'G'B' that were recorded to code values of a display, stage by stage. */
import { applyCdl } from '../cdl.ts';
import { evaluate } from '../evaluate.ts';
import type { Triple } from '../matrix.ts';
import { type OutputTransform, prepareOutput } from '../output/index.ts';
import type { ColourTransform } from '../steps.ts';
import type { ColourWay } from '../way.ts';

export interface WayStages {
  /** From recorded R'G'B', 0 to 1 of full scale, to linear AP0. */
  readonly input: ColourTransform;
  readonly way: ColourWay;
  /** Of the CDL: from linear AP0 to the space that it is applied in, and back; null: the way has none. */
  readonly cdlSpace: { readonly to: ColourTransform; readonly back: ColourTransform } | null;
  /** From linear AP0 to linear AP0, or to the display; null: the way has none. */
  readonly look: ColourTransform | null;
  /** null: the look ends on the display. */
  readonly output: OutputTransform | null;
}

export type Showing = (rgb: Triple) => Triple;

/** Code values of the display, 0 to 1 of full range; a look can end beyond them. */
export function showingOf({ input, way, cdlSpace, look, output }: WayStages): Showing {
  const gain = 2 ** way.exposure;
  const render = output === null ? null : prepareOutput(output);
  return (rgb) => {
    const [r, g, b] = evaluate(input, ...rgb);
    let scene: Triple = [r * gain, g * gain, b * gain];
    if (way.cdl !== null && cdlSpace !== null)
      scene = evaluate(cdlSpace.back, ...applyCdl(way.cdl.values, evaluate(cdlSpace.to, ...scene)));
    if (look !== null) scene = evaluate(look, ...scene);
    return render === null ? scene : render(scene);
  };
}
