/** Codes to linear sensor values, crop and highlights: worked by hand, and laws. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { cropOf } from '../../media/raw/develop/crop.ts';
import { highlights, NEARLY_FULL } from '../../media/raw/develop/highlights.ts';
import { linearMosaic } from '../../media/raw/develop/levels.ts';
import type { Triple } from '../../media/raw/develop/matrix.ts';
import { UndevelopableError } from '../../media/raw/develop/undevelopable.ts';
import type { RawPicture } from '../../media/formats/dng/header.ts';
import { rawPicture } from '../support/raw-picture.ts';
import '../support/properties.ts';

const noDeltas = { columnDeltas: null, rowDeltas: null };
const mosaic = (codes: readonly number[], width: number, fields: Partial<RawPicture>): number[] => [
  ...linearMosaic(rawPicture(width, codes.length / width, fields), Uint16Array.from(codes)),
];

describe('levels', () => {
  test('black becomes 0, white 1, and nothing is bounded', () => {
    expect(
      mosaic([256, 2176, 4096, 6016, 0, 64], 2, {
        black: { rows: 1, columns: 1, levels: [256], ...noDeltas },
        white: 4096,
      }),
    ).toEqual([0, 0.5, 1, 1.5, -1 / 15, -0.05]);
  });

  test('every position of the pattern has its black; the highest and white make the scale', () => {
    // Blacks with unequal sites: 256, 300, 200, 100; white 1324, so that the scale is 1/1024.
    const black = { rows: 2, columns: 2, levels: [256, 300, 200, 100], ...noDeltas };
    expect(mosaic([512, 556, 512, 556, 456, 356, 1324, 1324], 4, { black, white: 1324 })).toEqual([
      256 / 1024,
      256 / 1024,
      256 / 1024,
      256 / 1024,
      256 / 1024,
      256 / 1024,
      1124 / 1024,
      1224 / 1024,
    ]);
  });

  test('deltas are added by column and row, and count for the highest black', () => {
    const black = { rows: 1, columns: 1, levels: [100], columnDeltas: [0, 4], rowDeltas: [-2, 8] };
    // Highest 100 + 4 + 8 = 112; white 212.
    expect(mosaic([98, 102, 108, 112], 2, { black, white: 212 })).toEqual([0, 0, 0, 0]);
    expect(mosaic([198, 202, 208, 212], 2, { black, white: 212 })).toEqual([1, 1, 1, 1]);
  });

  test('the pattern starts at the active area, and what lies outside it is not seen', () => {
    const activeArea = { top: 1, left: 1, bottom: 3, right: 3 };
    const black = { rows: 2, columns: 2, levels: [10, 20, 30, 40], ...noDeltas };
    const codes = [999, 999, 999, 999, 999, 10, 20, 999, 999, 30, 40, 999];
    expect(mosaic(codes, 4, { activeArea, black, white: 140 })).toEqual([0, 0, 0, 0]);
  });

  test('the linearisation table comes before black, and its last entry stands for all codes beyond', () => {
    expect(
      mosaic([0, 1, 2, 3, 700, 65_535], 2, {
        linearisation: [100, 150, 200, 300],
        black: { rows: 1, columns: 1, levels: [100], ...noDeltas },
        white: 300,
      }),
    ).toEqual([0, 0.25, 0.5, 1, 1, 1]);
  });

  test.each([
    [
      'white that is not above black',
      { white: 64, black: { rows: 1, columns: 1, levels: [64], ...noDeltas } },
    ],
    ['a pattern with a level too few', { black: { rows: 2, columns: 2, levels: [1, 2, 3], ...noDeltas } }],
    [
      'deltas for another width',
      { black: { rows: 1, columns: 1, levels: [0], rowDeltas: null, columnDeltas: [1] } },
    ],
    [
      'deltas for another height',
      { black: { rows: 1, columns: 1, levels: [0], rowDeltas: [1, 2, 3], columnDeltas: null } },
    ],
    ['an empty table', { linearisation: [] }],
  ])('%s is refused', (_, fields) => {
    expect(() => mosaic([1, 2, 3, 4], 2, fields)).toThrow(UndevelopableError);
  });
});

describe('crop', () => {
  test.each([
    ['whole', { left: 0, top: 0, width: 64, height: 48 }, { left: 0, top: 0, width: 64, height: 48 }],
    ['inside', { left: 5, top: 3, width: 40, height: 30 }, { left: 5, top: 3, width: 40, height: 30 }],
    [
      'not whole: to the nearest pixel',
      { left: 4.5, top: 3.25, width: 40.5, height: 29.75 },
      { left: 5, top: 3, width: 41, height: 30 },
    ],
    [
      'beyond the active area: what is inside',
      { left: 60, top: 40, width: 40, height: 30 },
      { left: 60, top: 40, width: 4, height: 8 },
    ],
    [
      'nothing: one pixel',
      { left: 70, top: -3, width: 0, height: 0.2 },
      { left: 63, top: 0, width: 1, height: 1 },
    ],
  ])('%s', (_, defaultCrop, expected) => {
    expect(cropOf({ activeArea: { top: 10, left: 20, bottom: 58, right: 84 }, defaultCrop })).toEqual(
      expected,
    );
  });
});

describe('highlights', () => {
  const neutral: Triple = [0.5, 1, 0.625];

  test.each([
    // Green is full; red stands at 0.9 / 0.5 = 1.8 of neutral, the brightest.
    ['white that has filled green is grey at the brightest level', [0.9, 1, 0.75], [0.9, 1.8, 1.125]],
    ['neutral at full level stays', [0.5, 1, 0.625], [0.5, 1, 0.625]],
    ['what is beyond full stays beyond', [0.5, 1.5, 0.625], [0.75, 1.5, 0.9375]],
    ['no channel nearly full: nothing changes', [0.8, 0.1, -0.05], [0.8, 0.1, -0.05]],
    // Halfway between 7/8 and 1: half of the way.
    ['halfway', [0.25, 0.9375, 0.625], [(0.25 + 0.5) / 2, (0.9375 + 1) / 2, 0.625]],
  ] as const)('neutral: %s', (_, camera, expected) => {
    for (const [index, value] of highlights('neutral', neutral, camera).entries())
      expect(value).toBeCloseTo(expected[index] as number, 12);
  });

  test.each([
    ['white that has filled green is grey at the brightest level', [0.9, 1, 1.125], [0.9, 1.8, 1.125]],
    ['white that has filled all is grey at the level of the weakest', [1, 1, 1], [1, 2, 1.25]],
    // Two lamps of one colour each, and one whose second channel is halfway between 7/8 and 1.
    ['a red lamp stays red', [1, 0.2, 0.05], [1, 0.2, 0.05]],
    ['a blue lamp stays blue', [0.1, 0.3, 1], [0.1, 0.3, 1]],
    ['an orange lamp turns only by what green has filled', [1, 0.9375, 0.05], [1, (0.9375 + 2) / 2, 0.05]],
    ['no channel nearly full: nothing changes', [0.8, 0.1, -0.05], [0.8, 0.1, -0.05]],
  ] as const)('by-channel: %s', (_, camera, expected) => {
    for (const [index, value] of highlights('by-channel', neutral, camera).entries())
      expect(value).toBeCloseTo(expected[index] as number, 12);
  });

  test('a ramp of grey that the sensor cuts off stays grey as long as one channel is not full', () => {
    // Of twice the level at which green is full, red is full as well: from there on nobody knows.
    for (let level = 0.1; level < 1.99; level += 0.01) {
      const seen = neutral.map((part) => Math.min(1, part * level)) as [number, number, number];
      const led = highlights('by-channel', neutral, seen);
      for (const channel of [0, 1, 2] as const) expect(led[channel] / neutral[channel]).toBeCloseTo(level, 9);
    }
  });

  const value = fc.double({ min: -0.2, max: 3, noNaN: true });
  const camera = fc.tuple(value, value, value);

  test('keep changes nothing', () => {
    fc.assert(
      fc.property(camera, (values) => void expect(highlights('keep', neutral, values)).toEqual(values)),
    );
  });

  test('neutral lowers nothing, leaves what is not nearly full, and makes grey of what is full', () => {
    fc.assert(
      fc.property(camera, (values) => {
        const led = highlights('neutral', neutral, values);
        for (const channel of [0, 1, 2] as const)
          expect(led[channel]).toBeGreaterThanOrEqual(values[channel] - 1e-12);
        if (Math.max(...values) <= NEARLY_FULL) expect(led).toEqual(values.map((old) => old + 0));
        if (Math.max(...values) >= 1)
          for (const channel of [0, 2] as const)
            expect(led[channel] / neutral[channel]).toBeCloseTo(led[1], 9);
      }),
    );
  });

  test.each(['neutral', 'by-channel'] as const)(
    '%s: where a channel rises no result falls, and small steps stay small',
    (policy) => {
      fc.assert(
        fc.property(
          camera,
          fc.constantFrom(0, 1, 2),
          fc.double({ min: 0, max: 0.01, noNaN: true }),
          (values, channel, rise) => {
            const risen = values.map((old, index) => (index === channel ? old + rise : old)) as [
              number,
              number,
              number,
            ];
            const before = highlights(policy, neutral, values);
            const behind = highlights(policy, neutral, risen);
            for (const index of [0, 1, 2] as const) {
              expect(behind[index]).toBeGreaterThanOrEqual(before[index] - 1e-12);
              // Steepest in the middle of the last eighth: 12 for each unit of distance from grey, which is 6 at most here, and 2 for the level itself.
              expect(behind[index] - before[index]).toBeLessThanOrEqual(rise * (12 * 6.4 + 2) + 1e-12);
            }
          },
        ),
      );
    },
  );
});
