/** What a source's tiles are read as: packed samples, which nobody cuts, are laid into planes first. */
export const tiledPixels = (pixelFormat: string): string =>
  /^(uyvy422|yuyv422|yvyu422)$/.test(pixelFormat) ? 'yuv422p' : pixelFormat;
