/** What kind of picture a pixel format is, by ffmpeg's names. */

/** Red, green and blue; a palette holds RGB too. */
export const isRgb = (pixelFormat: string): boolean => /^(gbr|rgb|bgr|argb|abgr|0rgb|0bgr|x2rgb|x2bgr|pal8)/.test(pixelFormat);
export const isGray = (pixelFormat: string): boolean => /^gray/.test(pixelFormat);
/** Y'CbCr with a plane for each. */
export const isPlanarYuv = (pixelFormat: string): boolean => /^yuv[aj]?4[0-4][0-4]p/.test(pixelFormat);
