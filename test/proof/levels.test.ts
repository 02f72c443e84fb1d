/** Levels and colours through a conversion, with colour bars whose code values are published. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CELLS, COLOUR_CELLS, COLOUR_WIDTH, GRID_WIDTH, type FrameFingerprints } from '../../proof/form.ts';
import { type Basis, compareLevels, promisedLevels } from '../../proof/levels.ts';

type Bar = readonly [y: number, cb: number, cr: number];

/**
 * 100 % colour bars, 8 bits, limited: white, yellow, cyan, green, magenta, red, blue. The values of ITU-R BT.601 and
 * BT.709 as test signal tables print them (after ITU-R BT.471 and BT.1729); from memory.
 */
const bars601: readonly Bar[] = [
  [235, 128, 128],
  [210, 16, 146],
  [170, 166, 16],
  [145, 54, 34],
  [106, 202, 222],
  [81, 90, 240],
  [41, 240, 110],
];
const bars709: readonly Bar[] = [
  [235, 128, 128],
  [219, 16, 138],
  [188, 154, 16],
  [173, 42, 26],
  [78, 214, 230],
  [63, 102, 240],
  [32, 240, 118],
];

/** Two cells of colour across to each bar. */
function fingerprintsOfBars(bars: readonly Bar[]): FrameFingerprints {
  const luma = new Uint16Array(CELLS);
  const colour = new Uint16Array(2 * COLOUR_CELLS);
  const barAt = (column: number): Bar => bars[Math.min(bars.length - 1, Math.floor(column / 2))] as Bar;
  for (let cell = 0; cell < CELLS; cell += 1)
    luma[cell] = barAt(Math.floor((cell % GRID_WIDTH) / 2))[0] * 256;
  for (let cell = 0; cell < COLOUR_CELLS; cell += 1) {
    const [, cb, cr] = barAt(cell % COLOUR_WIDTH);
    colour[cell] = cb * 256;
    colour[COLOUR_CELLS + cell] = cr * 256;
  }
  return { frames: 1, views: 1, luma, colour };
}

/** 8-bit limited values as full: H.273, clause 8.3, rounded and clipped to whole steps. */
const chroma = (value: number): number => Math.min(255, Math.round(((value - 128) * 255) / 224) + 128);
const asFull = (bars: readonly Bar[]): Bar[] =>
  bars.map(([y, cb, cr]) => [Math.round(((y - 16) * 255) / 219), chroma(cb), chroma(cr)]);

const seen = new Uint8Array(CELLS).fill(1);
const at709: Basis = { matrix: 'bt709', range: 'limited' };
const at601: Basis = { matrix: 'bt601', range: 'limited' };
const compare = (source: readonly Bar[], output: readonly Bar[], basis: { source: Basis; output: Basis }) =>
  compareLevels({
    source: fingerprintsOfBars(source),
    output: fingerprintsOfBars(output),
    seen,
    frames: new Set([0]),
    basis,
  });

describe('published bars', () => {
  test.each<[string, readonly Bar[], readonly Bar[], { source: Basis; output: Basis }]>([
    ['BT.709 as they are', bars709, bars709, { source: at709, output: at709 }],
    ['BT.601 to BT.709', bars601, bars709, { source: at601, output: at709 }],
    ['BT.709 to BT.601', bars709, bars601, { source: at709, output: at601 }],
    ['limited to full', bars709, asFull(bars709), { source: at709, output: { ...at709, range: 'full' } }],
    ['full to limited', asFull(bars601), bars601, { source: { ...at601, range: 'full' }, output: at601 }],
  ])('%s: off by less than a step, and nothing wrong', (_title, source, output, basis) => {
    const verdict = compare(source, output, basis);
    expect(verdict.fault).toBeNull();
    for (const plane of verdict.off ?? [9]) expect(plane).toBeLessThan(1);
  });

  test.each<[string, readonly Bar[], readonly Bar[], { source: Basis; output: Basis }, string]>([
    ['BT.601 values under a BT.709 tag', bars709, bars601, { source: at709, output: at709 }, 'matrix'],
    ['never converted', bars601, bars601, { source: at601, output: at709 }, 'matrix'],
    ['full levels under a limited tag', bars709, asFull(bars709), { source: at709, output: at709 }, 'range'],
    [
      'limited levels under a full tag',
      bars709,
      bars709,
      { source: at709, output: { ...at709, range: 'full' } },
      'range',
    ],
    [
      'Cb and Cr exchanged',
      bars709,
      bars709.map(([y, cb, cr]): Bar => [y, cr, cb]),
      { source: at709, output: at709 },
      'matrix',
    ],
    [
      'lifted by three steps',
      bars709,
      bars709.map(([y, cb, cr]): Bar => [y + 3, cb, cr]),
      { source: at709, output: at709 },
      'levels',
    ],
  ])('%s', (_title, source, output, basis, kind) => {
    expect(compare(source, output, basis).fault?.kind).toBe(kind);
  });
});

test('frames that are out of their place are not asked, and without any nothing is said', () => {
  expect(
    compareLevels({
      source: fingerprintsOfBars(bars709),
      output: fingerprintsOfBars(bars601),
      seen,
      frames: new Set(),
      basis: { source: at709, output: at709 },
    }),
  ).toEqual({ off: null, fault: null, unproven: [] });
});

test('of grey pictures no matrix can be reported, of dark ones no range is missed', () => {
  const grey: Bar[] = [16, 60, 110, 126, 180, 200, 235].map((y) => [y, 128, 128]);
  expect(compare(grey, grey, { source: at709, output: at709 }).unproven).toEqual(['matrix']);
  expect(compare(bars709, bars709, { source: at709, output: at709 }).unproven).toEqual([]);
});

test('gain and offset that a change of range promises', () => {
  // Black 16 to 0 and white 235 to 255, in steps of 256.
  const { gain, offset } = promisedLevels(at709, { ...at709, range: 'full' });
  expect([16, 235].map((step) => Math.round((gain * step * 256 + offset) / 256))).toEqual([0, 255]);
});

test('a flat grey that is rounded to whole steps is of no other matrix', () => {
  // A frame of one colour, one step beside grey, in limited range; and as H.273, clause 8.3 puts it in full range, in whole steps.
  const source: Bar[] = [[134, 127, 127]];
  const output: Bar[] = [[137, 127, 127]];
  const { fault, unproven } = compare(source, output, {
    source: at709,
    output: { ...at709, range: 'full' },
  });
  expect(fault).toBeNull();
  expect(unproven).toContain('matrix');
});

/** Means, spreads, slopes and errors of averages, in steps of 8 bits, as measured of RDD 36 proxy. */
test.each([
  [
    'noise of 160x96',
    [
      { mean: 108, spread: 3.8, kept: 0.9, moved: 1, error: 0.9 },
      { mean: 126.4, spread: 4.4, kept: 0.71, moved: 0.33, error: 1.3 },
      { mean: 147, spread: 5.4, kept: 0.84, moved: -1, error: 1.6 },
    ],
  ],
  [
    'a grey log picture with strong grain',
    [
      { mean: 103.6, spread: 2.2, kept: 0.934, moved: 0.81, error: 0.41 },
      { mean: 130.8, spread: 3, kept: 0.827, moved: -0.39, error: 0.67 },
      { mean: 129.9, spread: 3.8, kept: 0.845, moved: -0.28, error: 0.7 },
    ],
  ],
] as const)(
  '%s that a codec moved towards grey was not taken for another range, and which range it was cannot be told',
  (_, measured) => {
    const random = fc.sample(fc.noBias(fc.integer({ min: -1000, max: 1000 })), {
      seed: 3,
      numRuns: 18 * COLOUR_CELLS,
    });
    /** Sum of drawn numbers: about normal, standard deviation 1. */
    const drawn = (at: number): number =>
      [0, 1, 2].reduce((sum, next) => sum + (random[at + next] as number) / 1000, 0);
    const noise = (of: (plane: 0 | 1 | 2, cell: number) => number): FrameFingerprints => {
      const luma = new Uint16Array(CELLS);
      const colour = new Uint16Array(2 * COLOUR_CELLS);
      for (let cell = 0; cell < CELLS; cell += 1) {
        const [row, column] = [Math.floor(cell / GRID_WIDTH), cell % GRID_WIDTH];
        luma[cell] = 256 * of(0, Math.floor(row / 2) * COLOUR_WIDTH + Math.floor(column / 2));
      }
      for (let cell = 0; cell < COLOUR_CELLS; cell += 1) {
        colour[cell] = 256 * of(1, cell);
        colour[COLOUR_CELLS + cell] = 256 * of(2, cell);
      }
      return { frames: 1, views: 1, luma, colour };
    };
    const at = (plane: number, cell: number): number => 3 * (plane * COLOUR_CELLS + cell);
    const { fault, unproven } = compareLevels({
      source: noise((plane, cell) => measured[plane].mean + measured[plane].spread * drawn(at(plane, cell))),
      output: noise((plane, cell) => {
        const { mean, spread, kept, moved, error } = measured[plane];
        return mean + moved + kept * spread * drawn(at(plane, cell)) + error * drawn(at(plane + 3, cell));
      }),
      seen,
      frames: new Set([0]),
      basis: { source: at709, output: at709 },
    });
    expect(fault).toBeNull();
    expect(unproven).toContain('range');
  },
);
