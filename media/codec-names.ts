/** Codecs by the names of their standards, where ffmpeg has names of its own for them. Every other codec has one name here and there. */

const ffmpegNames: ReadonlyMap<string, string> = new Map([
  /** SMPTE ST 2019-1. */
  ['vc3', 'dnxhd'],
  /** SMPTE RDD 36. */
  ['rdd36', 'prores'],
  /** ITU-T H.265. */
  ['h265', 'hevc'],
]);

/** From what ffprobe prints. */
export function codecFromFfmpeg(printed: string): string {
  return [...ffmpegNames].find(([, theirs]) => theirs === printed)?.[0] ?? printed;
}

/** ffmpeg's name, which its decoder has too. */
export function codecForFfmpeg(codec: string): string {
  return ffmpegNames.get(codec) ?? codec;
}
