/** Where a delivered picture lies, of pictures that are converted from one matrix to another: drawn in R'G'B', averaged over cells. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { comparePictures, type PictureVerdict } from '../../proof/compare.ts';
import {
  CELLS,
  COLOUR_CELLS,
  COLOUR_HEIGHT,
  COLOUR_WIDTH,
  type FrameFingerprints,
  GRID_HEIGHT,
  GRID_WIDTH,
} from '../../proof/form.ts';
import { type Placement, placementOf } from '../../proof/placement.ts';

type Rgb = readonly [number, number, number];
/** KR and KB of ITU-T H.273, Table 4. */
const KR_KB = { bt709: [0.2126, 0.0722], bt2020: [0.2627, 0.0593] } as const;
type Name = keyof typeof KR_KB;

/** Limited range, 256 to a code of 8 bits: H.273, clause 8.3. */
function codesOf([red, green, blue]: Rgb, matrix: Name): Rgb {
  const [kr, kb] = KR_KB[matrix];
  const luma = kr * red + (1 - kr - kb) * green + kb * blue;
  return [
    256 * (16 + 219 * luma),
    256 * (128 + (224 * (blue - luma)) / (2 * (1 - kb))),
    256 * (128 + (224 * (red - luma)) / (2 * (1 - kr))),
  ];
}

/** A dark picture: a warm light in the middle, a weak blue around it, and something small that moves. Across and down from 0 to 1. */
function darkScene(x: number, y: number, frame: number): Rgb {
  const at = (cx: number, cy: number, size: number): number =>
    Math.exp(-(((x - cx) * 1.7) ** 2 + (y - cy) ** 2) / size);
  const grey = 0.1 + 0.015 * Math.sin(9 * x + 5 * y) + 0.03 * at(0.2 + 0.03 * frame, 0.3, 0.005);
  const warm = at(0.5, 0.5, 0.06);
  return [grey + 0.14 * warm, grey + 0.01 * warm, grey + 0.02 - 0.05 * warm];
}

interface Lie {
  readonly right: number;
  readonly down: number;
  readonly scale: number;
}
const inPlace: Lie = { right: 0, down: 0, scale: 1 };
/** Points to a cell, each way. */
const FINE = 6;
const FRAMES = 5;

function fingerprintsOf(matrix: Name, { right, down, scale }: Lie): FrameFingerprints {
  const luma = new Uint16Array(FRAMES * CELLS);
  const colour = new Uint16Array(FRAMES * 2 * COLOUR_CELLS);
  const mean = (frame: number, [column, row]: readonly [number, number], size: number): Rgb => {
    const sum: [number, number, number] = [0, 0, 0];
    for (let a = 0; a < FINE; a += 1)
      for (let b = 0; b < FINE; b += 1) {
        const across = (column + (a + 0.5) / FINE) * size - right - GRID_WIDTH / 2;
        const below = (row + (b + 0.5) / FINE) * size - down - GRID_HEIGHT / 2;
        const codes = codesOf(
          darkScene(0.5 + across / scale / GRID_WIDTH, 0.5 + below / scale / GRID_HEIGHT, frame),
          matrix,
        );
        for (const plane of [0, 1, 2] as const) sum[plane] += codes[plane] / FINE ** 2;
      }
    return sum;
  };
  for (let frame = 0; frame < FRAMES; frame += 1) {
    for (let cell = 0; cell < CELLS; cell += 1)
      [luma[frame * CELLS + cell]] = mean(frame, [cell % GRID_WIDTH, Math.floor(cell / GRID_WIDTH)], 1);
    for (let cell = 0; cell < COLOUR_CELLS; cell += 1) {
      const [, cb, cr] = mean(frame, [cell % COLOUR_WIDTH, Math.floor(cell / COLOUR_WIDTH)], 2);
      colour[2 * frame * COLOUR_CELLS + cell] = cb;
      colour[2 * frame * COLOUR_CELLS + COLOUR_WIDTH * COLOUR_HEIGHT + cell] = cr;
    }
  }
  return { frames: FRAMES, views: 1, luma, colour };
}

function verdictOf(from: Name, to: Name, lie: Lie): PictureVerdict {
  const scaled = { width: 160, height: 96 };
  return comparePictures({
    source: fingerprintsOf(from, inPlace),
    output: fingerprintsOf(to, lie),
    framing: { scaled, window: { left: 0, top: 0, ...scaled }, covered: [], inset: null },
    coding: 'intra',
    basis: { source: { matrix: from, range: 'limited' }, output: { matrix: to, range: 'limited' } },
    fields: null,
  });
}

const ways: readonly (readonly [Name, Name])[] = [
  ['bt709', 'bt709'],
  ['bt709', 'bt2020'],
  ['bt2020', 'bt709'],
];

test.each(ways)('%s to %s: what the matrix moves between luma and colours is no displacement', (from, to) => {
  const { placement, turn } = verdictOf(from, to, inPlace);
  expect(turn).toBeNull();
  expect(placement?.displaced, JSON.stringify(placement)).toBe(false);
  expect(Math.abs(placement?.right ?? 1)).toBeLessThan(0.02);
  expect(Math.abs((placement?.scale ?? 2) - 1)).toBeLessThan(0.005);
});

test.each(ways)('%s to %s: a dark picture that is moved, or enlarged, is found', (from, to) => {
  const moved = verdictOf(from, to, { ...inPlace, right: 0.25 }).placement;
  expect(moved?.displaced).toBe(true);
  expect(moved?.right).toBeCloseTo(0.25, 1);
  const grown = verdictOf(from, to, { ...inPlace, scale: 1.03 }).placement;
  expect(grown?.displaced).toBe(true);
  expect(grown?.scale).toBeCloseTo(1.03, 2);
});

/** Waves with a bright spot: across, down and value of a cell, from 0 to 1 each way, enlarged about the middle. */
const waves = (x: number, y: number, scale: number): number => {
  const [across, below] = [0.5 + (x - 0.5) / scale, 0.5 + (y - 0.5) / scale];
  const spot = Math.exp(-((across - 0.4) ** 2 + (below - 0.6) ** 2) * 30);
  return 16_000 + 9_000 * Math.sin(9 * across + 3) * Math.cos(7 * below) + 9_000 * spot;
};
const blocks = { across: GRID_WIDTH / 4, down: GRID_HEIGHT / 4 };

/** What a codec loses of a picture hangs together over its blocks: errors of 4 by 4 cells, drawn. */
const blockErrors = (most: number) =>
  fc.array(fc.integer({ min: -most, max: most }), {
    minLength: blocks.across * blocks.down,
    maxLength: blocks.across * blocks.down,
  });

function placedWith(errors: readonly number[], scale: number): Placement {
  const cells = (of: (x: number, y: number, block: number) => number): Uint16Array =>
    Uint16Array.from({ length: CELLS }, (_, cell) => {
      const [column, row] = [cell % GRID_WIDTH, Math.floor(cell / GRID_WIDTH)];
      return of(
        (column + 0.5) / GRID_WIDTH,
        (row + 0.5) / GRID_HEIGHT,
        Math.floor(row / 4) * blocks.across + Math.floor(column / 4),
      );
    });
  const source = cells((x, y) => waves(x, y, 1));
  return placementOf({
    source: () => source,
    output: cells((x, y, block) => waves(x, y, scale) + (errors[block] ?? 0)),
    views: 1,
    seen: new Uint8Array(CELLS).fill(1),
    levels: { gain: 1, offset: 0 },
    frames: [0],
    cellPixels: { width: 1920 / GRID_WIDTH, height: 1080 / GRID_HEIGHT },
  });
}

test('errors that hang together over blocks are no displacement', () => {
  fc.assert(
    fc.property(blockErrors(200), (errors) => !placedWith(errors, 1).displaced),
    { seed: 7, numRuns: 300 },
  );
});

test('a growth of 0.6 % under small errors of blocks is found', () => {
  fc.assert(
    fc.property(blockErrors(60), (errors) => placedWith(errors, 1.006).displaced),
    { seed: 7, numRuns: 100 },
  );
});
