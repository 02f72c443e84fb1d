/** How much a codec loses at most for a quantiser scale of 1, by its class. */
import type { MostLost } from './verdict.ts';

/** Mean squared error over the square of the scale, code values of 8 bits: of a plane of a frame, and of a region of 16 samples a side or more. */
const byClass: Readonly<Record<string, MostLost>> = {
  'DNXHR LB': { frame: 0.65, region: 3.5 },
  'DNXHR SQ': { frame: 0.65, region: 3.5 },
  'DNXHR HQ': { frame: 0.65, region: 3.5 },
  'DNXHR HQX': { frame: 0.65, region: 3.5 },
  'DNXHR 444': { frame: 0.65, region: 3.5 },
  Proxy: { frame: 0.35, region: 2 },
  LT: { frame: 0.35, region: 2 },
  Standard: { frame: 0.35, region: 2 },
  HQ: { frame: 0.35, region: 2 },
  '4444': { frame: 0.35, region: 2 },
  XQ: { frame: 0.35, region: 2 },
};

/** null: it was never measured. */
export function mostLost(codecProfile: string | null): MostLost | null {
  return codecProfile === null ? null : (byClass[codecProfile] ?? null);
}
