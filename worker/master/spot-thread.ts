/** The body of the thread that finds the spots of raw frames: by the tags of the clip, read a second time, and not by the development that its master was made with. */
import { rawColourOf } from '../../check/master/raw-colour.ts';
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { serve } from '../../process/threads.ts';
import type { Spot } from '../../proof/pixel-samples.ts';
import { type RawSpotJob, rawSpot, type Spotted } from './raw-spot.ts';

export interface SpotSetup {
  readonly job: RawSpotJob;
  readonly spotted: Spotted;
}
/** Where no settings are. */
const AS_SHOT = { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' } as const;

export interface SpotOrder {
  readonly frame: number;
}

/** As the tags and the settings have it, whatever was decided before. */
function computedAgain(
  { facts: { raw, interpretation } }: SpotSetup['job'],
  { linearisation }: Spotted,
): Spotted['linearisation'] {
  if (linearisation.kind !== 'raw' || raw === undefined) throw new RangeError('a raw spot of a coded clip');
  const {
    neutral,
    matrix: [a, b, c, d, e, f, g, h, i],
    exposure,
  } = rawColourOf(raw.picture, interpretation?.raw ?? AS_SHOT, linearisation.white);
  return {
    ...linearisation,
    neutral: [...neutral],
    matrix: [
      [a, b, c],
      [d, e, f],
      [g, h, i],
    ],
    exposure,
  };
}

serve<SpotSetup, SpotOrder, Spot>(async ({ job, spotted }) => {
  const linearisation = computedAgain(job, spotted);
  const sceneLinear = sceneLinearOf(linearisation, null);
  // An order is not called back: whoever gave it up leaves it to its end, which takes seconds.
  const { signal } = new AbortController();
  return async ({ frame }) => ({ result: await rawSpot({ job, linearisation, frame, sceneLinear, signal }) });
});
