import { formatRatio } from '../../media/rate.ts';
import { type Check, compare } from '../check.ts';

/** Raster, pixel format, square pixels, upright, progressive. */
export const picture: Check = {
  name: 'picture',
  rests: ['packets'],
  run: ({ measured: { facts, evidence }, outcome }) => {
    if (facts === null || evidence === null) return null;
    const { video } = facts;
    return compare('picture-differs', [
      ['raster', `${video.width}x${video.height}`, `${outcome.width}x${outcome.height}`],
      ['pixel format', video.pixelFormat, outcome.pixelFormat],
      ['pixel aspect', formatRatio(video.pixelAspect), '1'],
      ['pictures', evidence.pictures, 1],
      ['rotation', evidence.turnsByQuarters ? video.rotation : 'other than by quarters', 0],
      // A resolution-independent VC-3 stream has no interlaced form (ST 2019-1), and its reader says nothing of fields.
      ['fields', video.codec === 'dnxhd' && video.fieldOrder === 'unknown' ? 'progressive' : video.fieldOrder, 'progressive'],
    ]);
  },
};
