/** The way from code values to linear AP0, in double precision: what a master's values are held against. */
import { evaluate } from '../../media/colour/evaluate.ts';
import type { ColourTransform } from '../../media/colour/steps.ts';
import { highlights } from '../../media/raw/develop/highlights.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';

export type ToSceneLinear = (r: number, g: number, b: number) => readonly [number, number, number];

/** `transform`: that of the way's input; null for raw frames. */
export function sceneLinearOf(
  linearisation: Linearisation,
  transform: ColourTransform | null,
): ToSceneLinear {
  if (linearisation.kind === 'coded') {
    if (transform === null) throw new RangeError('code values without a transform');
    return (r, g, b) => evaluate(transform, r, g, b);
  }
  const [x, y, z] = linearisation.matrix;
  return (r, g, b) => {
    const camera = highlights(linearisation.highlights, linearisation.neutral, [r, g, b]);
    const row = (weights: readonly [number, number, number]): number =>
      linearisation.exposure * (weights[0] * camera[0] + weights[1] * camera[1] + weights[2] * camera[2]);
    return [row(x), row(y), row(z)];
  };
}
