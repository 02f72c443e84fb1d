/** ASC CDL: values by the CDL operator of OpenColorIO 2.1.2, in both styles. */
import { describe, expect, test } from 'vitest';
import { type Cdl, applyCdl, cdlInAcescct, cdlSchema } from '../../media/colour/cdl.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import type { Triple } from '../../media/colour/matrix.ts';

const list: Cdl = {
  slope: [1.1, 1, 0.9],
  offset: [-0.02, 0.01, 0.03],
  power: [1.2, 1, 0.8],
  saturation: 0.85,
};
const nothing: Cdl = { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 1 };
const near = (found: Triple, wanted: Triple): void => {
  for (const channel of [0, 1, 2] as const)
    expect(Math.abs(found[channel] - wanted[channel])).toBeLessThan(1e-6);
};

test.each<readonly [Triple, Triple, Triple]>([
  [
    [0.18, 0.18, 0.18],
    [0.134428, 0.1887951, 0.2543129],
    [0.134428, 0.1887951, 0.2543129],
  ],
  [
    [0.5, 0.4, 0.3],
    [0.4597848, 0.4115046, 0.3874308],
    [0.4597848, 0.4115046, 0.3874308],
  ],
  [
    [1.2, 0.5, -0.1],
    [0.9366028, 0.5201028, 0.0866028],
    [1.2622843, 0.5312535, 0.0467535],
  ],
  [
    [0, 0, 0],
    [0.0017279, 0.0102279, 0.053146],
    [-0.0159099, 0.0095901, 0.0525082],
  ],
  [
    [1, 1, 1],
    [0.9993892, 0.9993892, 0.9514462],
    [1.0857868, 1.0120474, 0.9556044],
  ],
])('%j with the limits of version 1.2, and without', (code, limited, free) => {
  near(applyCdl(list, code, 'Fwd'), limited);
  near(applyCdl(list, code), free);
});

describe('in ACEScct', () => {
  test('a list that does nothing leaves light as it was, black noise and highlights too', () => {
    const colours: readonly Triple[] = [
      [0.18, 0.18, 0.18],
      [-0.005, 0.001, 0.004],
      [900, 400, 20],
    ];
    for (const colour of colours) {
      const found = evaluate(cdlInAcescct(nothing), ...colour);
      for (const channel of [0, 1, 2] as const)
        expect(Math.abs(found[channel] - colour[channel])).toBeLessThan(1e-11 * Math.max(...colour));
    }
  });

  // By definition 2^(17.52 y): an offset of 1/17.52 is a stop above the straight part (Academy S-2016-001).
  test('an offset of a seventeenth and a half doubles light above the straight part, and lifts what lies in it', () => {
    const stop: Cdl = { ...nothing, offset: [1 / 17.52, 1 / 17.52, 1 / 17.52] };
    expect(evaluate(cdlInAcescct(stop), 0.18, 0.18, 0.18)[1]).toBeCloseTo(0.36, 12);
    expect(evaluate(cdlInAcescct(stop), 120, 120, 120)[1]).toBeCloseTo(240, 9);
    expect(evaluate(cdlInAcescct(stop), 0.001, 0.001, 0.001)[1]).toBeCloseTo(0.0064, 4);
  });
});

test.each<readonly [string, unknown]>([
  ['a negative slope', { ...list, slope: [-0.1, 1, 1] }],
  ['a power of 0', { ...list, power: [1, 0, 1] }],
  ['a negative saturation', { ...list, saturation: -1 }],
  ['an offset without end', { ...list, offset: [0, Number.POSITIVE_INFINITY, 0] }],
  ['two numbers', { ...list, slope: [1, 1] }],
  ['no saturation', { slope: list.slope, offset: list.offset, power: list.power }],
])('%s is refused', (_, given) => {
  expect(cdlSchema.safeParse(given).success).toBe(false);
});

test('a negative offset and a saturation of 0 are taken', () => {
  expect(cdlSchema.parse({ ...list, saturation: 0 })).toEqual({ ...list, saturation: 0 });
});
