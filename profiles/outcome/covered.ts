/** Which parts of a delivered picture burnt-in text may cover. */
import type { Rectangle } from '../../proof/framing.ts';
import type { Profile } from '../schema.ts';
import { smallestLetters } from './smallest.ts';

type Written = Pick<Profile, 'burn_in' | 'video'>;

/** Height of a line, pixels. */
export function lineHeight(percent: number, pictureHeight: number, video: Profile['video']): number {
  return Math.max(smallestLetters(video), Math.round((pictureHeight * percent) / 100));
}

export type Row = 'top' | 'bottom';
export type Column = 'left' | 'centre' | 'right';
export const placed = (place: Profile['burn_in'][number]['place']): { row: Row; column: Column } => {
  const [row, column] = place.split('-') as [Row, Column];
  return { row, column };
};

/** Lines of the picture that texts of one side may cover. */
export function stripDepth({ burn_in: texts, video }: Written, row: Row, height: number): number {
  const deep = (['left', 'centre', 'right'] as const).map((column) =>
    texts
      .filter(({ place }) => place === `${row}-${column}`)
      .reduce((sum, { height_percent: percent }) => sum + 2 * lineHeight(percent, height, video), 0),
  );
  return Math.min(height, Math.max(...deep));
}

/**
 * Whole strips, whatever the text: of each text of a place a quarter of a line before it, then a box of at most 1.164 lines (ascender and descender of the font, its hhea
 * table) and a quarter for both sides, to whole even pixels (profiles/outcome/burn-in.ts): less than two lines.
 */
export function coveredStrips(profile: Written, width: number, height: number): Rectangle[] {
  return (['top', 'bottom'] as const).flatMap((row) => {
    const deep = stripDepth(profile, row, height);
    return deep === 0 ? [] : [{ left: 0, top: row === 'top' ? 0 : height - deep, width, height: deep }];
  });
}
