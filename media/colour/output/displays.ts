/** What displays there are, how each codes its light, and which renderings fit which display. */
import { decode, encode } from '../curves.ts';
import { type Gamut, gamuts } from '../gamuts.ts';

export const versions = ['aces-2', 'aces-1'] as const;
export type Version = (typeof versions)[number];

/** Primaries, all with the white D65, that no colour of a rendering lies beyond. From the narrowest to the widest. */
export const limitings = ['bt709', 'p3-d65', 'bt2020'] as const;
export type Limiting = (typeof limitings)[number];

/** Encodings of displays: primaries and transfer by their standards. `srgb` (IEC 61966-2-1) has the primaries of BT.709. */
export const displays = ['bt1886-bt709', 'srgb', 'srgb-p3d65', 'pq-bt2020', 'hlg-bt2020'] as const;
export type Display = (typeof displays)[number];

/** Red, green and blue that are written in place. */
export type Rgb = [number, number, number];

interface Encoding {
  readonly limiting: Limiting;
  /** Linear light of the display, 1.0 = 100 cd/m², to full-range code values 0 to 1, in place. */
  readonly encode: (rgb: Rgb) => void;
  /** A neutral's code to the luminance that the display shows, in cd/m². */
  readonly luminance: (code: number) => number;
}

const eachChannel =
  (curve: (value: number) => number) =>
  (rgb: Rgb): void => {
    rgb[0] = curve(rgb[0]);
    rgb[1] = curve(rgb[1]);
    rgb[2] = curve(rgb[2]);
  };

/** cd/m² of HLG's nominal peak here, at which the gamma of its display is 1.2 (ITU-R BT.2100, Table 5). */
export const HLG_PEAK = 1000;
/**
 * Light of the display to HLG: the display's gamma undone by luminance, then the camera's curve (ITU-R BT.2100, Table 5). The peak in one
 * channel alone, whose luminance is low, has a code above 1.
 */
function encodeHlg(rgb: Rgb): void {
  const luminance = (0.2627 * rgb[0] + 0.678 * rgb[1] + 0.0593 * rgb[2]) * (100 / HLG_PEAK);
  const scale = luminance > 0 ? (100 / HLG_PEAK) * luminance ** (1 / 1.2 - 1) : 0;
  const curve = (value: number): number => encode({ name: 'hlg', signal_of_one: 1 }, value * scale);
  rgb[0] = curve(rgb[0]);
  rgb[1] = curve(rgb[1]);
  rgb[2] = curve(rgb[2]);
}

const bt1886: Pick<Encoding, 'encode' | 'luminance'> = {
  encode: eachChannel((value) => encode({ name: 'bt1886' }, value)),
  luminance: (code) => 100 * decode({ name: 'bt1886' }, code),
};
const srgb: Pick<Encoding, 'encode' | 'luminance'> = {
  encode: eachChannel((value) => encode({ name: 'srgb' }, value)),
  luminance: (code) => 100 * decode({ name: 'srgb' }, code),
};
export const encodings: Readonly<Record<Display, Encoding>> = {
  'bt1886-bt709': { limiting: 'bt709', ...bt1886 },
  srgb: { limiting: 'bt709', ...srgb },
  'srgb-p3d65': { limiting: 'p3-d65', ...srgb },
  'pq-bt2020': {
    limiting: 'bt2020',
    encode: eachChannel((value) => encode({ name: 'pq', nits_of_one: 100 }, value)),
    luminance: (code) => decode({ name: 'pq', nits_of_one: 1 }, code),
  },
  'hlg-bt2020': {
    limiting: 'bt2020',
    encode: encodeHlg,
    luminance: (code) => HLG_PEAK * decode({ name: 'hlg', signal_of_one: 1 }, code) ** 1.2,
  },
};

export const gamutOfLimiting = (limiting: Limiting): Gamut =>
  gamuts[limiting === 'p3-d65' ? 'p3d65' : limiting];

/** Peaks of ACES 1 for displays of high dynamic range, in cd/m²: those of its published transforms (aces-dev 1.1 and newer). */
const PEAKS_OF_ACES1: readonly number[] = [1000, 2000, 4000];

/** Why a rendering is not one for this display; null: it is one. */
export function misfit(
  { version, peak, limiting }: { version: Version; peak: number; limiting: Limiting },
  display: Display,
): string | null {
  const widest = encodings[display].limiting;
  if (limitings.indexOf(limiting) > limitings.indexOf(widest))
    return `${display} shows no more than the primaries of ${widest}`;
  if (display !== 'pq-bt2020' && display !== 'hlg-bt2020') {
    if (peak !== 100) return `${display} is coded for a peak of 100 cd/m²`;
    if (version === 'aces-1' && limiting !== widest)
      return `of ACES 1 for ${display} there is the limit ${widest}`;
    return null;
  }
  if (display === 'hlg-bt2020' && peak !== HLG_PEAK)
    return `${display} is coded for a peak of ${HLG_PEAK} cd/m²`;
  if (version === 'aces-1' && (limiting === 'bt709' || !PEAKS_OF_ACES1.includes(peak)))
    return `of ACES 1 for ${display} there are the peaks ${PEAKS_OF_ACES1.join(', ')} cd/m², limited to p3-d65 or bt2020`;
  return null;
}
