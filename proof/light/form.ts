/** How much light is in the pictures of a PQ deliverable, as its stream says it: ITU-T H.265, D.3.35; what is measured is defined by CTA-861.3, annex P. */
import { z } from 'zod';

/** The field has 16 bits; 0 says that nothing is known. */
const level = z.int().min(1).max(65_535);

export const contentLightSchema = z.object({
  greatest: level.describe(
    'MaxCLL, cd/m²: of any pixel of any frame the greatest of R, G and B, rounded up. An upper bound, by H.265',
  ),
  average: level.describe(
    'MaxFALL, cd/m²: of any frame the greatest mean of those of its pixels, rounded up; the whole picture, with what is burnt in',
  ),
});
export type ContentLight = z.infer<typeof contentLightSchema>;

/** What the encoder is asked to write until the pictures are measured: more than any PQ signal has. */
export const PLACEHOLDER: ContentLight = { greatest: 0xfdfd, average: 0xfbfb };

/** Rounding of binary fractions is no light. */
const SLACK = 1e-6;
const MOST = 65_535;

/**
 * From cd/m² to what can be written in place of the placeholder. Two zero bytes before a byte of at most 3 would need one more byte between them
 * (H.265, 7.4.2: emulation prevention), and the file has no room for it: the upper bound of the pixel is then one more.
 */
export function contentLightOf(greatest: number, average: number): ContentLight {
  const whole = (value: number): number => Math.min(Math.max(Math.ceil(value - SLACK), 1), MOST);
  const [pixel, frame] = [whole(greatest), whole(average)];
  return { greatest: pixel % 256 === 0 && frame <= 3 ? pixel + 1 : pixel, average: frame };
}
