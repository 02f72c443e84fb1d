/** The way from code values to linear AP0, in double precision: what a master's values are held against. */
import { evaluate } from '../../media/colour/evaluate.ts';
import type { ColourTransform } from '../../media/colour/steps.ts';
import { highlights } from '../../media/raw/develop/highlights.ts';
import type { WayToLight } from '../../profiles/master/way.ts';

export type Light = (r: number, g: number, b: number) => readonly [number, number, number];

/** `transform`: that of the way's input; null for raw frames. */
export function lightOf(way: WayToLight, transform: ColourTransform | null): Light {
  if (way.kind === 'coded') {
    if (transform === null) throw new RangeError('code values without a transform');
    return (r, g, b) => evaluate(transform, r, g, b);
  }
  const [x, y, z] = way.matrix;
  return (r, g, b) => {
    const camera = highlights(way.highlights, way.neutral, [r, g, b]);
    const row = (weights: readonly [number, number, number]): number =>
      way.exposure * (weights[0] * camera[0] + weights[1] * camera[1] + weights[2] * camera[2]);
    return [row(x), row(y), row(z)];
  };
}
