/** The way from code values to linear AP0, in double precision: what a master's values are held against. */
import { evaluate, transformOf } from '../../media/colour/input.ts';
import { highlights } from '../../media/raw/develop/highlights.ts';
import type { WayToLight } from '../../profiles/master/way.ts';

export type Light = (r: number, g: number, b: number) => readonly [number, number, number];

/** `transformText`: of a transform in a file, as its digest names it. Throws what media/colour says of a file that cannot be read. */
export function lightOf(way: WayToLight, transformText: string | null): Light {
  if (way.kind === 'coded') {
    const transform = transformOf(way.input, transformText ?? undefined);
    return (r, g, b) => evaluate(transform, r, g, b);
  }
  const [x, y, z] = way.matrix;
  return (r, g, b) => {
    const camera = highlights(way.highlights, way.neutral, [r, g, b]);
    const row = (weights: readonly [number, number, number]): number => way.exposure * (weights[0] * camera[0] + weights[1] * camera[1] + weights[2] * camera[2]);
    return [row(x), row(y), row(z)];
  };
}
