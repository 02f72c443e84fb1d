import { type Check, compare } from '../check.ts';
import type { Measured } from '../measured.ts';

/** As our own reader has it: the source reference of the timecode track, or the tag of the picture's track; null where the file has no readable index. */
function ofIndex({ atoms, matroska }: Measured): { readonly reel: string | null } | null {
  if (matroska === null) return atoms === null ? null : { reel: atoms.timecodeTracks[0]?.reel ?? null };
  const { tracks, tags } = matroska.file;
  const picture = tracks.find(({ type }) => type === 1);
  return {
    reel: tags.find(({ name, track }) => name === 'REEL_NAME' && track === picture?.uid)?.value ?? null,
  };
}

/** Reel name, read by ffprobe and by our own reader. */
export const reel: Check = {
  name: 'reel',
  rests: ['packets', 'atoms'],
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
