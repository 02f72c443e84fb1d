/** The colour way of a clip in double precision: from the R'G'B' that were recorded to code values of a display, stage by stage. */
import { applyCdl } from '../cdl.ts';
import { evaluate } from '../evaluate.ts';
import type { Triple } from '../matrix.ts';
import { compressGamut } from '../output/gamut-compression.ts';
import { type OutputTransform, prepareOutput } from '../output/index.ts';
import { type Placed, preparePlaced } from '../output/placed-sdr.ts';
import type { ColourTransform } from '../steps.ts';
import { gainOf } from '../way-files.ts';
import { type ColourWay, fromSpace, toSpace } from '../way.ts';

export interface WayStages {
  /** From recorded R'G'B', 0 to 1 of full scale, to linear AP0. */
  readonly input: ColourTransform;
  readonly way: ColourWay;
  /** From linear AP0 to linear AP0, or to the display; null: the way has none. */
  readonly look: ColourTransform | null;
  /** null: the look ends on the display. */
  readonly output: OutputTransform | null;
}

export type Showing = (rgb: Triple) => Triple;

/** Code values of the display, 0 to 1 of full range; a look can end beyond them. Throws RangeError when the look of the way is not given, or another is. */
export function showingOf({ input, way, look, output }: WayStages): Showing {
  if ((way.look === null) !== (look === null)) throw new RangeError('another look than that of the way');
  const gain = gainOf(way.exposure);
  const { cdl } = way;
  const space = cdl === null ? null : { to: toSpace(cdl.space), from: fromSpace(cdl.space) };
  const render = output === null ? null : prepareOutput(output);
  return (rgb) => {
    const [r, g, b] = evaluate(input, ...rgb);
    let scene: Triple = [r * gain, g * gain, b * gain];
    if (way.gamutCompression) scene = compressGamut(scene);
    if (cdl !== null && space !== null)
      scene = evaluate(space.from, ...applyCdl(cdl.values, evaluate(space.to, ...scene)));
    if (look !== null) scene = evaluate(look, ...scene);
    return render === null ? scene : render(scene);
  };
}

/** Pictures of standard range in a signal of high range: nothing of the way is done to them. `recorded`: to R'G'B' as they were recorded, 0 to 1 of full scale. */
export function placing(recorded: ColourTransform, placed: Placed): Showing {
  const place = preparePlaced(placed);
  return (rgb) => place(evaluate(recorded, ...rgb));
}
