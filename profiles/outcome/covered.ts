/** Which parts of a delivered picture burnt-in text may cover. */
import type { Rectangle } from '../../proof/framing.ts';
import type { Profile } from '../schema.ts';

/** Smaller letters cannot be read; a longer text is cut instead. */
export const SMALLEST_LETTERS = 8;

/** Height of a line, pixels. */
export function lineHeight(item: Profile['burn_in'][number], pictureHeight: number): number {
  return Math.max(SMALLEST_LETTERS, Math.round((pictureHeight * item.height_percent) / 100));
}

/**
 * Whole strips, whatever the text: a quarter of a line of margin, then a box of at most 1.164 lines (ascender and descender of the font, its hhea
 * table) and a quarter for both sides, to whole even pixels (profiles/outcome/burn-in.ts): less than two lines.
 */
export function coveredStrips(profile: Pick<Profile, 'burn_in'>, width: number, height: number): Rectangle[] {
  return (['top', 'bottom'] as const).flatMap((side) => {
    const lines = profile.burn_in
      .filter((item) => item.place.startsWith(side))
      .map((item) => lineHeight(item, height));
    if (lines.length === 0) return [];
    const deep = Math.min(height, 2 * Math.max(...lines));
    return [{ left: 0, top: side === 'top' ? 0 : height - deep, width, height: deep }];
  });
}
