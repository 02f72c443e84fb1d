/** The tone scale of ACES 2, from the peak luminance alone (aces-core `Lib.Academy.Tonescale.ctl`, April 2025). */

const CONTRAST = 1.15;
const GREY = 0.18;
/** cd/m² on which grey lands with a peak of 100; it rises by 14 % with every doubling of the peak. */
const GREY_LUMINANCE = 10.013;
const GREY_GAIN = 0.14;
const TOE = 0.04;
const LEAST_HIT = 128;
const MOST_HIT = 896;

export interface ToneScale {
  /** cd/m². */
  readonly peak: number;
  /** Luminance of grey, 1.0 = 100 cd/m². */
  readonly grey: number;
  /** Scene-linear value that reaches the peak. */
  readonly hit: number;
  readonly s2: number;
  readonly m2: number;
}

export function toneScaleOf(peak: number): ToneScale {
  const n = peak / 100;
  const hit = LEAST_HIT + ((MOST_HIT - LEAST_HIT) * Math.log(n)) / Math.log(100);
  const m1 = 0.5 * (n + Math.sqrt(n * (n + 4 * TOE)));
  const u = (hit / m1 / (hit / m1 + 1)) ** CONTRAST;
  const m = m1 / u;
  const grey = (GREY_LUMINANCE / 100) * (1 + Math.log2(n) * GREY_GAIN);
  const target = 0.5 * (grey + Math.sqrt(grey * (grey + 4 * TOE)));
  const q = (target / m) ** (1 / CONTRAST);
  const g2 = (-m1 * q) / (q - 1);
  const w2 = GREY / g2;
  const u2 = (hit / m1 / (hit / m1 + w2)) ** CONTRAST;
  return { peak, grey, hit, s2: w2 * m1, m2: m1 / u2 };
}

/** Scene-linear neutral to luminance of the display in cd/m². */
export function toneScaled({ s2, m2 }: ToneScale, linear: number): number {
  const x = Math.max(linear, 0);
  const f = m2 * (x / (x + s2)) ** CONTRAST;
  return 100 * Math.max(0, (f * f) / (f + TOE));
}
