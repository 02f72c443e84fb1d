/**
 * A picture of standard dynamic range within a signal of BT.2100, as it would look on its own display: ITU-R BT.2408-8, 5.1.2 (“Display referred
 * mapping of SDR into PQ”) and 5.1.3 (into HLG, without an adjustment of the OOTF), by scaling alone. Its white becomes the reference white.
 */
import { decode } from '../curves.ts';
import { between, gamuts } from '../gamuts.ts';
import { apply, type Matrix, type Triple } from '../matrix.ts';
import { encodings } from './displays.ts';

/** cd/m² of diffuse white in HDR (ITU-R BT.2408, Table 1): 58 % of the PQ signal, 75 % of HLG. */
export const REFERENCE_WHITE = 203;

/** Code values for a display of standard range, whether by the name of their display or of their camera's curve. */
export const standardRange = ['bt709', 'bt2020', 'bt1886-bt709', 'bt1886-bt2020', 'srgb'] as const;
export type StandardRange = (typeof standardRange)[number];
export const isStandardRange = (name: string): name is StandardRange =>
  standardRange.some((one) => one === name);

export interface Placed {
  readonly placed: StandardRange;
  /** cd/m² that their white becomes. */
  readonly white: typeof REFERENCE_WHITE;
  readonly display: 'pq-bt2020' | 'hlg-bt2020';
}

const toBt2020 = between(gamuts.bt709, gamuts.bt2020, 'bradford');
const UNCHANGED: Matrix = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

/** Full-range R'G'B' of standard range, shown by a display with a black of 0, to full-range R'G'B' of BT.2100. What lies beyond 0 and 1 ends there. */
export function preparePlaced({ placed, white, display }: Placed): (rgb: Triple) => Triple {
  const curve = placed === 'srgb' ? 'srgb' : 'bt1886';
  const matrix = placed === 'bt2020' || placed === 'bt1886-bt2020' ? UNCHANGED : toBt2020;
  const { encode } = encodings[display];
  const light = (code: number): number =>
    (decode({ name: curve }, Math.min(Math.max(code, 0), 1)) * white) / 100;
  return ([r, g, b]) => {
    const [x, y, z] = apply(matrix, [light(r), light(g), light(b)]);
    const shown: [number, number, number] = [Math.max(x, 0), Math.max(y, 0), Math.max(z, 0)];
    encode(shown);
    return shown;
  };
}
