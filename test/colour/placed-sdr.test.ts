/**
 * A picture of standard range within BT.2100: ITU-R BT.2408 (203 cd/m² is 58 % of the PQ signal and 75 % of HLG), the matrix of ITU-R BT.2087 as printed,
 * and of HLG what OpenColorIO gives for a display of 1000 cd/m² (203 cd/m²: 0.749877; 100: 0.629620; 18: 0.324781).
 */
import { describe, expect, test } from 'vitest';
import { decode } from '../../media/colour/curves.ts';
import { ap0OfAcescct, acescctOfAp0 } from '../../media/colour/acescct.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { transformOf, transformTo } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { differenceOf } from '../../media/colour/output/itp.ts';
import { type Placed, preparePlaced, REFERENCE_WHITE } from '../../media/colour/output/placed-sdr.ts';
import { bakeTable, SCALED_END, sizeOf } from '../../media/colour/shown/table.ts';
import { placing } from '../../media/colour/shown/way.ts';
import { tableError } from '../../proof/colour-way/table-error.ts';
import { further } from '../support/lane.ts';

const placed = (display: Placed['display'], of: Placed['placed'] = 'bt709'): Placed => ({
  placed: of,
  white: REFERENCE_WHITE,
  display,
});
const inPq = preparePlaced(placed('pq-bt2020'));
const inHlg = preparePlaced(placed('hlg-bt2020'));
const nits = (code: number): number => decode({ name: 'pq', nits_of_one: 1 }, code);

describe('within PQ', () => {
  test('white comes to lie on the reference white, black on black', () => {
    const white = inPq([1, 1, 1]);
    for (const code of white) expect(code).toBeCloseTo(0.58, 2);
    for (const code of white) expect(nits(code)).toBeCloseTo(203, 6);
    for (const code of inPq([0, 0, 0])) expect(code).toBeLessThan(1e-6);
  });

  test.each([
    [
      [1, 0, 0],
      [0.6274, 0.0691, 0.0164],
    ],
    [
      [0, 1, 0],
      [0.3293, 0.9195, 0.088],
    ],
    [
      [0, 0, 1],
      [0.0433, 0.0114, 0.8956],
    ],
  ] as const)('%j keeps its colour', (code, light) => {
    const found = inPq(code);
    for (const channel of [0, 1, 2] as const)
      expect(nits(found[channel]) / 203).toBeCloseTo(light[channel], 3);
  });

  test('a code in the middle has the light of its own display, times 2.03', () => {
    for (const code of inPq([0.5, 0.5, 0.5])) expect(nits(code)).toBeCloseTo(203 * 0.5 ** 2.4, 6);
  });

  // IEC 61966-2-1 has 0.2140 for a signal of one half.
  test('sRGB has the light of its own display, BT.2020 its own primaries', () => {
    for (const code of preparePlaced(placed('pq-bt2020', 'srgb'))([0.5, 0.5, 0.5]))
      expect(nits(code)).toBeCloseTo(203 * 0.21404, 2);
    const [red, green, blue] = preparePlaced(placed('pq-bt2020', 'bt2020'))([1, 0, 0]);
    expect([nits(red), nits(green), nits(blue)].map(Math.round)).toEqual([203, 0, 0]);
  });

  test('what lies beyond 0 and 1 ends there', () => {
    expect(inPq([1.2, 1, 1])).toEqual(inPq([1, 1, 1]));
    expect(inPq([-0.2, 0.5, 1])).toEqual(inPq([0, 0.5, 1]));
  });
});

describe('within HLG', () => {
  test.each([
    [203, 0.749877],
    [100, 0.62962],
    [18, 0.324781],
    [0, 0],
  ])('a grey of %d cd/m² has the signal %d', (light, signal) => {
    const grey = (light / 203) ** (1 / 2.4);
    for (const code of inHlg([grey, grey, grey])) expect(code).toBeCloseTo(signal, 5);
  });

  // ITU-R BT.2100, Table 5: the display's light is E times the 0.2 power of the scene's luminance, with 1000 cd/m² of 1.
  test('a colour has on a display of HLG the light that it has on its own', () => {
    const scene = inHlg([0.9, 0.4, 0.2]).map((code) => decode({ name: 'hlg', signal_of_one: 1 }, code));
    const [r, g, b] = scene as [number, number, number];
    const luminance = 0.2627 * r + 0.678 * g + 0.0593 * b;
    const pq = inPq([0.9, 0.4, 0.2]).map(nits);
    for (const [channel, light] of [r, g, b].entries())
      expect(1000 * luminance ** 0.2 * light).toBeCloseTo(pq[channel] as number, 3);
  });
});

test('frames that were taken to light of the scene come back to what was recorded, to a tenth of a code of 10 bits', () => {
  for (const name of ['bt709', 'srgb', 'bt1886-bt2020'] as const) {
    const back = { steps: [...ap0OfAcescct.steps, ...transformTo({ name }).steps] };
    const colours: readonly Triple[] = [
      [0.5, 0.4, 0.3],
      [1, 0, 0],
      [0.02, 0.9, 1],
    ];
    for (const rgb of colours) {
      const codes = evaluate(acescctOfAp0, ...evaluate(transformOf({ name }), ...rgb));
      const most = 2 ** 14 - 1;
      const [r, g, b] = codes.map((code) => Math.round(code * most) / most) as [number, number, number];
      const found = placing(back, placed('pq-bt2020', name))([r, g, b]);
      const wanted = placing({ steps: [] }, placed('pq-bt2020', name))(rgb);
      for (const channel of [0, 1, 2] as const) {
        const light = (codes: Triple): number => nits(codes[channel]);
        expect(Math.abs(light(found) - light(wanted)), `${name} ${rgb.join(' ')}`).toBeLessThan(
          0.002 + light(wanted) / 500,
        );
      }
    }
  }
});

// Measured: see the page of the mechanism.
test.each<[Placed['display'], 'recorded' | 'developed']>([
  ['pq-bt2020', 'recorded'],
  ['hlg-bt2020', 'recorded'],
  ...further<[Placed['display'], 'recorded' | 'developed']>(['pq-bt2020', 'developed']),
])('a table of it for %s, of %s pictures, is within one ΔE_ITP nearly everywhere', (display, from) => {
  const before =
    from === 'recorded'
      ? { steps: [] }
      : { steps: [...ap0OfAcescct.steps, ...transformTo({ name: 'bt709' }).steps] };
  const showing = placing(before, placed(display));
  const end = from === 'recorded' ? SCALED_END : 1;
  const table = bakeTable({ showing, display, end, size: sizeOf('aces-2') });
  const { most, greatest } = tableError(table, showing, end, differenceOf(display));
  expect({ most: most < 1, greatest: greatest < 3 }, `${most} ${greatest}`).toEqual({
    most: true,
    greatest: true,
  });
});
