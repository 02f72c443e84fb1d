/** What a clip's raw frames are developed by, decided once from their tags and from what was chosen for the clip. */
import type { RawPicture } from '../../formats/dng/header.ts';
import type { Anchor } from '../../interpretation.ts';
import { anchorFactor } from './anchor.ts';
import { cameraColour, type ColourPath } from './colour.ts';
import type { Matrix, Triple } from './matrix.ts';
import { UndevelopableError } from './undevelopable.ts';
import type { WhiteChoice } from './white.ts';

export interface Development {
  readonly path: ColourPath;
  /** Camera values of neutral, the largest 1. */
  readonly neutral: Triple;
  /** Linear camera values, not white-balanced, to AP0, rows; its product with `neutral` is (1, 1, 1). */
  readonly matrix: Matrix;
  /** Factor on all values: 2 to the power of BaselineExposure and the stops that were chosen, times the anchor's. */
  readonly exposure: number;
  /** The light: CIE 1931 x and y, correlated colour temperature, distance from the Planckian locus (temperature.ts). */
  readonly white: { readonly x: number; readonly y: number; readonly kelvin: number; readonly tint: number };
}

/** `missing`: what the tags do not say or say wrongly, when no development follows from them. */
export function developmentOf(
  picture: RawPicture,
  {
    whiteBalance,
    exposureStops,
    anchor,
  }: { readonly whiteBalance: WhiteChoice; readonly exposureStops: number; readonly anchor: Anchor },
): Development | { readonly missing: string } {
  try {
    const { path, neutral, cameraToAp0, exposure, white, kelvin, tint } = cameraColour(
      picture,
      whiteBalance,
      exposureStops,
    );
    return {
      path,
      neutral,
      matrix: cameraToAp0,
      exposure: exposure * anchorFactor[anchor],
      // What somebody chose is said as it was chosen, and not as it comes back from the table of isotherms.
      white: {
        x: white[0],
        y: white[1],
        ...(typeof whiteBalance === 'object' && 'kelvin' in whiteBalance ? whiteBalance : { kelvin, tint }),
      },
    };
  } catch (error) {
    if (error instanceof UndevelopableError) return { missing: error.message };
    throw error;
  }
}
