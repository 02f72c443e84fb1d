/** One scene through a raw and through a log camera, both exposed as a meter says: metered raw and log agree, and raw anchored at the sensor lies half a stop below. */
import { expect, test } from 'vitest';
import { encode } from '../../media/colour/curves.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { transformOf } from '../../media/colour/input.ts';
import type { Anchor } from '../../media/interpretation.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import { rawPicture } from '../support/raw-picture.ts';

/** What a meter that takes the grey card for its mean leaves on the sensor: H = 10/S of the 78/S at which it is full (ISO 12232, saturation-based speed; from memory). */
const GREY_ON_SENSOR = 10 / 78;

function developed(scene: number, anchor: Anchor): readonly number[] {
  const development = developmentOf(rawPicture(8, 6), { whiteBalance: 'as-shot', exposureStops: 0, anchor });
  if ('missing' in development) throw new Error(development.missing);
  const { neutral, matrix, exposure } = development;
  const camera = neutral.map((part) => (part * scene * GREY_ON_SENSOR) / 0.18);
  return matrix.map(
    (row) => exposure * row.reduce((sum, weight, at) => sum + weight * (camera[at] as number), 0),
  );
}

// Reflectances of a row of greys, black to white (common practice, no source).
test.each([0.02, 0.09, 0.18, 0.36, 0.9])('a grey of %f', (scene) => {
  const code = encode({ name: 'slog3' }, scene);
  const log = evaluate(transformOf({ name: 'slog3-sgamut3cine' }), code, code, code);
  for (const [channel, value] of developed(scene, 'metered').entries()) {
    expect(value).toBeCloseTo(log[channel as 0 | 1 | 2], 6);
    const sensor = developed(scene, 'sensor')[channel] as number;
    expect(Math.log2(value / sensor)).toBeCloseTo(0.49, 2);
  }
});
