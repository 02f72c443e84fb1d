/** Raw pictures of tests: a description with every field, and development by the references in double precision. */
import type { Pixels } from '../../media/raw/demosaic/mosaic.ts';
import { fine } from '../../media/raw/demosaic/fine.ts';
import { linear } from '../../media/raw/demosaic/linear.ts';
import { channelAt } from '../../media/raw/demosaic/mosaic.ts';
import { balanceOf } from '../../media/raw/develop/balance.ts';
import { cropOf, sizeOf } from '../../media/raw/develop/crop.ts';
import type { DevelopPlan } from '../../media/raw/develop/kernel.ts';
import { linearMosaic } from '../../media/raw/develop/levels.ts';
import type { RawPicture } from '../../media/formats/dng/header.ts';

/** A camera that does not exist; black 0, white 65535, the whole picture active, unless said otherwise. */
export function rawPicture(width: number, height: number, fields: Partial<RawPicture> = {}): RawPicture {
  const activeArea = fields.activeArea ?? { top: 0, left: 0, bottom: height, right: width };
  return {
    width,
    height,
    activeArea,
    maskedAreas: [],
    defaultCrop: { left: 0, top: 0, ...sizeOf(activeArea) },
    defaultScale: { horizontal: 1, vertical: 1 },
    orientation: 1,
    pattern: 'rggb',
    bitsPerSample: 16,
    compression: 'none',
    linearisation: null,
    black: { rows: 1, columns: 1, levels: [0], columnDeltas: null, rowDeltas: null },
    white: 65_535,
    calibrations: [
      {
        illuminant: 21,
        colourMatrix: [0.8, -0.25, -0.08, -0.4, 1.2, 0.22, -0.05, 0.2, 0.65],
        forwardMatrix: null,
        cameraCalibration: [1, 0, 0, 0, 1, 0, 0, 0, 1],
      },
    ],
    analogBalance: [1, 1, 1],
    asShotNeutral: [0.45, 1, 0.6],
    asShotWhiteXy: null,
    baselineExposure: 0,
    bayerGreenSplit: 0,
    linearResponseLimit: 1,
    ...fields,
  };
}

export const developPlan = (picture: RawPicture, fields: Partial<DevelopPlan> = {}): DevelopPlan => ({
  picture,
  demosaic: 'linear',
  highlights: 'keep',
  neutral: [0.45, 1, 0.6],
  matrix: [
    [1.4, 0.2, 0.25],
    [0.02, 1, -0.02],
    [0.04, -0.14, 1.87],
  ],
  exposure: 1,
  ...fields,
});

/** Linear camera RGB of the crop by the references. */
export function cameraByReference({ picture, demosaic, neutral }: DevelopPlan, codes: Uint16Array): Pixels {
  const { pattern } = picture;
  if (pattern === null) throw new RangeError('a picture without a mosaic');
  const { width, height } = sizeOf(picture.activeArea);
  const balance = balanceOf(neutral);
  const values = linearMosaic(picture, codes).map(
    (value, index) => value / balance[channelAt(pattern, Math.floor(index / width), index % width)],
  );
  if (demosaic === 'half') throw new RangeError('a picture of another size');
  const whole = { linear, fine }[demosaic]({ values, width, height, pattern });
  const crop = cropOf(picture);
  const cut = (plane: Float64Array, by: number): Float64Array => {
    const out = new Float64Array(crop.width * crop.height);
    for (let row = 0; row < crop.height; row += 1)
      for (let column = 0; column < crop.width; column += 1)
        out[row * crop.width + column] =
          (plane[(crop.top + row) * width + crop.left + column] as number) * by;
    return out;
  };
  return { r: cut(whole.r, balance[0]), g: cut(whole.g, balance[1]), b: cut(whole.b, balance[2]) };
}
