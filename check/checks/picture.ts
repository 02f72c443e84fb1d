import { formatRatio } from '../../media/rate.ts';
import { type Check, compare } from '../check.ts';

/** Raster, pixel format, square pixels, upright, progressive. */
export const picture: Check = {
  name: 'picture',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome }) => {
    if (facts === null) return null;
    const { video } = facts;
    return compare('picture-differs', [
      ['raster', `${video.width}x${video.height}`, `${outcome.width}x${outcome.height}`],
      ['pixel format', video.pixelFormat, outcome.pixelFormat],
      ['pixel aspect', formatRatio(video.pixelAspect), '1'],
      ['rotation', video.rotation, 0],
      ['fields', video.fieldOrder, 'progressive'],
    ]);
  },
};
