/** How much a codec loses at most, by its class and the scale of its quantiser. */
import type { MostLost } from './verdict.ts';

/**
 * Mean squared error, in code values of 8 bits: of any frame `rounding` and `frame` times the square of the scale, of a region of 16 samples a side or
 * more `region` times it. A third above the most that FFmpeg 5.1 made of twenty clips of 320x180: charts, fractals, noise, flashes, near black
 * (docs/mechanisms/picture-error.md).
 */
const byClass: Readonly<Record<string, MostLost>> = {
  'DNXHR LB': { rounding: 1, frame: 0.65, region: 3.2 },
  'DNXHR SQ': { rounding: 1, frame: 1.2, region: 3.8 },
  'DNXHR HQ': { rounding: 1, frame: 0.95, region: 1.6 },
  'DNXHR HQX': { rounding: 0.15, frame: 0.045, region: 0.09 },
  'DNXHR 444': { rounding: 0.15, frame: 0.045, region: 0.09 },
  Proxy: { rounding: 1, frame: 0.35, region: 1.1 },
  LT: { rounding: 1, frame: 0.3, region: 0.5 },
  Standard: { rounding: 0.5, frame: 0.12, region: 0.2 },
  HQ: { rounding: 0.2, frame: 0.04, region: 0.12 },
  '4444': { rounding: 0.2, frame: 0.04, region: 0.12 },
  XQ: { rounding: 0.2, frame: 0.04, region: 0.12 },
};

/** null: it was never measured. */
export function mostLost(codecProfile: string | null): MostLost | null {
  return codecProfile === null ? null : (byClass[codecProfile] ?? null);
}
