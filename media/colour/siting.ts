/**
 * Chroma that is subsampled, brought to the place of every luma sample. Interpolated by cubic convolution over four
 * neighbours (Keys 1981, a = -0.5) at the exact phase, so that straight lines and constant areas stay what they are;
 * beyond the edge the outermost sample goes on. A chroma sample that lies on a luma sample is taken as it is. Against chroma
 * known at full width, halved with three and seven taps, this was 0.3 to 0.5 dB nearer than straight lines on test pictures.
 *
 * Frames of interlaced sources, where 4:2:0 has the chroma lines of each field by itself, are interpolated within each
 * field, at the phases of that field (ISO/IEC 13818-2, figure 6-3): a quarter of a chroma line apart.
 */

/** By ffprobe's names (ITU-T H.273, figure 10, `chroma_sample_loc_type` 0 to 5); behind them the three that pictures have which were turned or mirrored. */
export const sitings = [
  'left',
  'center',
  'topleft',
  'top',
  'bottomleft',
  'bottom',
  'right',
  'topright',
  'bottomright',
] as const;
export type Siting = (typeof sitings)[number];
export const isSiting = (name: string): name is Siting => (sitings as readonly string[]).includes(name);

/** Weighed chroma samples: `first`, which may lie outside the plane, and the three behind it. */
export interface Taps {
  readonly first: number;
  readonly weights: readonly [number, number, number, number];
}

/** Of Keys 1981, with a = -0.5. */
const KEYS = 0.5;

/**
 * At `t` between the second and third sample, 0 to 1: Keys 1981. `c`: another member of that family, of which Keys' a is -c (Mitchell, Netravali 1988, with B = 0), where others
 * have interpolated.
 */
export function cubicWeights(t: number, c = KEYS): Taps['weights'] {
  if (c !== KEYS) {
    const near = (d: number): number => ((2 - c) * d + (c - 3)) * d * d + 1;
    const far = (d: number): number => c * (((5 - d) * d - 8) * d + 4);
    return [far(1 + t), near(t), near(1 - t), far(2 - t)];
  }
  return [
    (((2 - t) * t - 1) * t) / 2,
    (t * t * (3 * t - 5) + 2) / 2,
    (((4 - 3 * t) * t + 1) * t) / 2,
    ((t - 1) * t * t) / 2,
  ];
}

/** Chroma at `place`, counted in chroma samples. */
function tapsAt(place: number, c?: number): Taps {
  const below = Math.floor(place);
  return { first: below - 1, weights: cubicWeights(place - below, c) };
}

/** Where the chroma of luma column `x` comes from. */
export function tapsAcross(siting: Siting, x: number, c?: number): Taps {
  const right = siting === 'right' || siting === 'topright' || siting === 'bottomright';
  const between = siting === 'center' || siting === 'top' || siting === 'bottom';
  return tapsAt((x - (right ? 1 : between ? 0.5 : 0)) / 2, c);
}

/** Luma lines from the luma line of the same number to the first chroma line, in a frame and in each field. */
function offsetDown(siting: Siting, field: 'frame' | 'top' | 'bottom'): number {
  if (siting === 'topleft' || siting === 'top' || siting === 'topright') return 0;
  if (siting === 'bottomleft' || siting === 'bottom' || siting === 'bottomright') return 1;
  // Between two lines of the frame: in lines of the field, nearer to the field's own first line in the top field, to its second in the bottom one.
  return field === 'frame' ? 0.5 : field === 'top' ? 0.25 : 0.75;
}

/** Where the chroma of luma line `y` comes from. `lines` are chroma lines of the whole plane; for fields, every second one. */
export function tapsDown(
  siting: Siting,
  y: number,
  interlaced: boolean,
  c?: number,
): { readonly lines: (tap: 0 | 1 | 2 | 3, height: number) => number; readonly weights: Taps['weights'] } {
  const parity = y % 2;
  const line = interlaced ? (y - parity) / 2 : y;
  const { first, weights } = tapsAt(
    (line - offsetDown(siting, interlaced ? (parity === 0 ? 'top' : 'bottom') : 'frame')) / 2,
    c,
  );
  return {
    weights,
    lines: (tap, height) => {
      if (!interlaced) return Math.min(Math.max(first + tap, 0), height - 1);
      const last = Math.floor((height - 1 - parity) / 2);
      return Math.min(Math.max(first + tap, 0), Math.max(last, 0)) * 2 + Math.min(parity, height - 1);
    },
  };
}
