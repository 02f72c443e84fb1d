/** What the kernels and their references are given of the frames of a coded clip. */
import type { SourcePicture } from '../../media/colour/pixel.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';

export function sourcePicture(
  { pixelFormat, matrix, range, siting, declared }: Extract<Linearisation, { kind: 'coded' }>,
  width: number,
  height: number,
): SourcePicture {
  return {
    width,
    height,
    pixelFormat,
    matrix,
    range,
    siting,
    interlaced: false,
    ...(declared === null || declared.full === null ? {} : { full: declared.full }),
  };
}
