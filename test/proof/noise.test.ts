/** Noise that is too much for a codec: what it may lose, and what it may not. Sketches are drawn as numbers, of signs that look drawn. */
import { expect, test } from 'vitest';
import { sketchGrid, type SketchForm, sketchNumbers, sketchPlanes } from '../../proof/sketch/form.ts';
import { mostLost } from '../../proof/sketch/most-lost.ts';
import { comparePictureError } from '../../proof/sketch/verdict.ts';
import { randomOf } from '../faults/random.ts';

const size = { width: 384, height: 216 };
const form: SketchForm = { ...size, pixelFormat: 'yuv422p10le', grid: sketchGrid(size, 'coarse') };
const FRAMES = 6;
const SCALE = 43;
const numbers = sketchNumbers(form);

/** About normal, of variance 1. */
function normal(random: ReturnType<typeof randomOf>): number {
  let sum = 0;
  for (let count = 0; count < 3; count += 1) sum += random.below(1 << 16) / (1 << 16);
  return 2 * sum - 3;
}

interface Drawn {
  /** Mean square of luma from frame to frame, code values of 8 bits. */
  readonly changes: number;
  /** That alone in the first so many rows of regions. */
  readonly rows?: number;
  /** Mean squared error of luma, as a part of the square of the quantiser's scale. */
  readonly lost: number;
}

function kindsOf({ changes, rows, lost }: Drawn): readonly string[] {
  const random = randomOf('noise');
  const [luma] = sketchPlanes(form);
  if (luma === undefined) throw new Error('no plane');
  const input = new Uint16Array(FRAMES * numbers).fill(128 * 256);
  const output = input.slice();
  const unit = 256 / Math.sqrt(luma.samples);
  for (let frame = 0; frame < FRAMES; frame += 1)
    for (let region = 0; region < luma.columns * luma.rows; region += 1) {
      const at = frame * numbers + luma.from + region;
      const moves = rows === undefined || Math.floor(region / luma.columns) < rows;
      input[at] = 128 * 256 + (moves ? unit * Math.sqrt(changes / 2) * normal(random) : 0);
      output[at] = (input[at] as number) + unit * SCALE * Math.sqrt(lost) * normal(random);
    }
  // Plain averages that are not alike, as of no checker.
  for (const values of [input, output])
    for (let frame = 0; frame < FRAMES; frame += 1)
      for (let at = numbers - 1; at >= numbers / 2; at -= 1)
        values[frame * numbers + at] = 128 * 256 + 256 * (at % 7);
  const most = mostLost('Proxy');
  if (most === null) throw new Error('never measured');
  const squares = Array.from({ length: FRAMES }, () => SCALE ** 2);
  const verdict = comparePictureError({
    input: { ...form, seed: '00', frames: FRAMES, values: input, stated: null },
    output: { pixelFormat: form.pixelFormat, values: output },
    leastPsnr: 25,
    reference: { most, mean: squares, greatest: squares },
    plain: most.plain,
  });
  return [...new Set(verdict?.faults.map(({ kind }) => kind))];
}

test.each<[string, Drawn, readonly string[]]>([
  ['that changes everywhere may lose in every block what a block may', { changes: 3000, lost: 0.55 }, []],
  ['may not lose more than that', { changes: 12_000, lost: 2 }, ['stated']],
  [
    'is none where it changes in a part of the picture alone',
    { changes: 6000, rows: 4, lost: 0.55 },
    ['stated'],
  ],
  ['is none where nothing changes', { changes: 0, lost: 0.55 }, ['large', 'stated']],
])('noise %s', (_what, drawn, kinds) => {
  expect(kindsOf(drawn)).toEqual(kinds);
});
