/** What a file of the Common LUT Format can say of the development of raw frames. Pure. */
import { type ColourTransform, matrixStep } from '../../media/colour/steps.ts';
import type { Linearisation } from './linearisation.ts';

/** Camera values to AP0, exposure included. What is full, and colours that were not seen, are the business of frames. */
export function rawTransform({ matrix, exposure }: Extract<Linearisation, { kind: 'raw' }>): ColourTransform {
  const row = ([r, g, b]: readonly [number, number, number]): [number, number, number] => [
    exposure * r,
    exposure * g,
    exposure * b,
  ];
  return { steps: [matrixStep([row(matrix[0]), row(matrix[1]), row(matrix[2])])] };
}
