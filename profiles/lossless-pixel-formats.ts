/**
 * Pixel formats, by ffmpeg's names, whose every sample FFV1 gives back. The encoder takes them as they are (`ffmpeg -h
 * encoder=ffv1`, FFmpeg 5.1), and each was encoded, decoded and found the same to the bit (test/worker/archive/pixel-formats.test.ts).
 */
const yuv = (layouts: readonly string[], depths: readonly string[]): string[] =>
  layouts.flatMap((layout) => depths.map((depth) => `${layout}p${depth}`));

const asTheyAre: readonly string[] = [
  ...yuv(['yuv420', 'yuv422', 'yuv444'], ['', '9le', '10le', '12le', '14le', '16le']),
  ...yuv(['yuv440'], ['', '10le', '12le']),
  ...yuv(['yuv410', 'yuv411'], ['']),
  ...yuv(['yuva420', 'yuva422', 'yuva444'], ['', '9le', '10le', '16le']),
  ...['gray', 'gray9le', 'gray10le', 'gray12le', 'gray16le', 'ya8'],
  ...['gbrp9le', 'gbrp10le', 'gbrp12le', 'gbrp14le', 'gbrp16le', 'gbrap10le', 'gbrap12le', 'gbrap16le'],
  'bgra',
];

export interface KeptPixels {
  /** What the encoder is given: the same samples under the name that it knows. */
  readonly encodedAs: string;
  /** As the decoder names what comes back. */
  readonly readBackAs: string;
  /** The layout in which source and file are compared: of every sample, and of nothing else. */
  readonly comparedIn: string;
}

const kept: ReadonlyMap<string, KeptPixels> = new Map([
  ...asTheyAre.map(
    (format) => [format, { encodedAs: format, readBackAs: format, comparedIn: format }] as const,
  ),
  // ffmpeg's older names for full range; the range itself is tagged.
  ...['yuv411p', 'yuv420p', 'yuv422p', 'yuv440p', 'yuv444p'].map(
    (format) =>
      [format.replace('yuv', 'yuvj'), { encodedAs: format, readBackAs: format, comparedIn: format }] as const,
  ),
  // Four bytes a pixel, of which one says nothing and comes back as another.
  ['bgr0', { encodedAs: 'bgr0', readBackAs: 'bgr0', comparedIn: 'gbrp' }],
  // Taken as they are, given back plane by plane.
  ['rgb48le', { encodedAs: 'rgb48le', readBackAs: 'gbrp16le', comparedIn: 'gbrp16le' }],
  ['rgba64le', { encodedAs: 'rgba64le', readBackAs: 'gbrap16le', comparedIn: 'gbrap16le' }],
]);

/** null: FFV1 has no form for these pixels, or not without a conversion. */
export function keptPixels(pixelFormat: string): KeptPixels | null {
  return kept.get(pixelFormat) ?? null;
}
export const keptPixelFormats: readonly string[] = [...kept.keys()];
