/** What kind of picture a pixel format is, by ffmpeg's names. */

/** Red, green and blue; a palette holds RGB too. */
export const isRgb = (pixelFormat: string): boolean =>
  /^(gbr|rgb|bgr|argb|abgr|0rgb|0bgr|x2rgb|x2bgr|pal8)/.test(pixelFormat);
export const isGray = (pixelFormat: string): boolean => /^gray/.test(pixelFormat);
/** Y'CbCr with a plane for each. */
export const isPlanarYuv = (pixelFormat: string): boolean => /^yuv[aj]?4[0-4][0-4]p/.test(pixelFormat);

/** Pixels across and down for one sample. */
export interface Plane {
  readonly across: number;
  readonly down: number;
}
/** Of each kind of sample; packed formats have none the less one of each. */
export function planesOf(pixelFormat: string): Plane[] {
  const whole = { across: 1, down: 1 };
  const alpha = /^yuva|^gbra|^rgba|^bgra|^argb|^abgr|^ya/.test(pixelFormat) ? [whole] : [];
  if (isGray(pixelFormat) || /^ya\d/.test(pixelFormat)) return [whole, ...alpha];
  const chroma =
    {
      '410': { across: 4, down: 4 },
      '411': { across: 4, down: 1 },
      '420': { across: 2, down: 2 },
      '422': { across: 2, down: 1 },
      '440': { across: 1, down: 2 },
    }[/^yuv[aj]?(4\d\d)p/.exec(pixelFormat)?.[1] ?? ''] ?? whole;
  return [whole, chroma, chroma, ...alpha];
}
