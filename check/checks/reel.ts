import { type Check, compare } from '../check.ts';
import type { Measured } from '../measured.ts';
import { timecodeTracks } from '../movie/read.ts';

/** As our own reader has it: the source reference of the timecode track, or the tag of the picture's track; null where the file has no readable index. */
function ofIndex({ movie, matroska }: Measured): { readonly reel: string | null } | null {
  if (matroska === null) return movie === null ? null : { reel: timecodeTracks(movie)[0]?.reel ?? null };
  const { tracks, tags } = matroska.file;
  const picture = tracks.find(({ type }) => type === 1);
  return {
    reel: tags.find(({ name, track }) => name === 'REEL_NAME' && track === picture?.uid)?.value ?? null,
  };
}

/** Reel name, read by ffprobe and by our own reader. */
export const reel: Check = {
  name: 'reel',
  rests: ['packets', 'index'],
  run: ({ measured, outcome }) => {
    const { facts } = measured;
    const index = ofIndex(measured);
    if (facts === null || index === null) return null;
    return compare('reel-differs', [
      ['reel', facts.reel, outcome.reel],
      ['reel in the track', index.reel, outcome.reel],
    ]);
  },
};
