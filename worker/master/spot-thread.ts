/** The body of the thread that finds the spots of raw frames. */
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { serve } from '../../process/threads.ts';
import type { Spot } from '../../proof/pixel-samples.ts';
import { type RawSpotJob, rawSpot, type Spotted } from './raw-spot.ts';

export interface SpotSetup {
  readonly job: RawSpotJob;
  readonly spotted: Spotted;
}
export interface SpotOrder {
  readonly frame: number;
}

serve<SpotSetup, SpotOrder, Spot>(async ({ job, spotted }) => {
  const { linearisation } = spotted;
  const sceneLinear = sceneLinearOf(linearisation, null);
  // An order is not called back: whoever gave it up leaves it to its end, which takes seconds.
  const { signal } = new AbortController();
  return async ({ frame }) => ({ result: await rawSpot({ job, linearisation, frame, sceneLinear, signal }) });
});
