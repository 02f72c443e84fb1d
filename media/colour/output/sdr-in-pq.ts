/**
 * A picture of standard dynamic range within a signal of BT.2100 PQ, as it would look on its own display: ITU-R BT.2408-8, 5.1.2
 * (“Display referred mapping of SDR into PQ”), by scaling alone. Its white becomes the reference white.
 */
import { decode, encode } from '../curves.ts';
import { between, gamuts } from '../gamuts.ts';
import { type Triple, apply } from '../matrix.ts';

/** cd/m² of diffuse white in HDR (ITU-R BT.2408, Table 1): 58 % of the PQ signal. */
export const REFERENCE_WHITE = 203;

const toBt2020 = between(gamuts.bt709, gamuts.bt2020, 'bradford');

/** Full-range R'G'B' of BT.709, shown by a display of BT.1886 with a black of 0, to full-range R'G'B' of BT.2100 PQ. */
export function placeSdrInPq([r, g, b]: Triple): Triple {
  const light = (code: number): number => decode({ name: 'bt1886' }, Math.min(Math.max(code, 0), 1));
  const [x, y, z] = apply(toBt2020, [light(r), light(g), light(b)]);
  const signal = (linear: number): number =>
    encode({ name: 'pq', nits_of_one: REFERENCE_WHITE }, Math.max(linear, 0));
  return [signal(x), signal(y), signal(z)];
}
