/** Pictures of a page or a sheet: small, 8 bits, as a display of sRGB shows them (IEC 61966-2-1). */

export interface Picture {
  readonly width: number;
  readonly height: number;
  /** R, G, B by pixel, line by line. */
  readonly samples: Uint8Array;
}

/** The largest size of the same shape that fits into a box; a picture is never enlarged. */
export function fittedInto(
  { width, height }: Pick<Picture, 'width' | 'height'>,
  box: { readonly width: number; readonly height: number },
): { readonly width: number; readonly height: number } {
  const factor = Math.min(1, box.width / width, box.height / height);
  return {
    width: Math.max(1, Math.round(width * factor)),
    height: Math.max(1, Math.round(height * factor)),
  };
}
