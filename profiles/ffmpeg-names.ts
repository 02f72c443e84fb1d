/**
 * What ffmpeg calls the things that a profile names: the one place where picture formats, encoders, speeds and matrices of the scaler have ffmpeg's
 * names. Colour tags have theirs in media/colour/h273.ts, codecs in media/codec-names.ts, pixels that FFV1 keeps in profiles/lossless-pixel-formats.ts.
 */
import type { CodecTraits } from './codecs.ts';
import type { EncodedPixels, Profile } from './schema.ts';

/** With what an encoder's decoder gives besides. */
const pixelNames: Readonly<Record<EncodedPixels | '4:4:4 12-bit', string>> = {
  '4:2:0 8-bit': 'yuv420p',
  '4:2:0 10-bit': 'yuv420p10le',
  '4:2:2 8-bit': 'yuv422p',
  '4:2:2 10-bit': 'yuv422p10le',
  '4:4:4 10-bit': 'yuv444p10le',
  '4:4:4 12-bit': 'yuv444p12le',
};
/** 4:2:0 of full range, which ffprobe calls so in H.264. */
const FULL_RANGE_420 = 'yuvj420p';

/** Throws RangeError for `source`, which is many formats. */
export function pixelsForFfmpeg(pixels: Profile['pixels'] | '4:4:4 12-bit'): string {
  if (pixels === 'source') throw new RangeError('the pixels of the source have no one name');
  return pixelNames[pixels];
}

/** As ffprobe names the pixels of what was written. */
export function pixelsReadBack(
  { codec, readBackAs }: Pick<CodecTraits, 'codec' | 'readBackAs'>,
  pixels: Profile['pixels'],
  range: 'limited' | 'full',
): string {
  const name = pixelsForFfmpeg(readBackAs ?? pixels);
  return codec === 'h264' && range === 'full' && name === pixelNames['4:2:0 8-bit'] ? FULL_RANGE_420 : name;
}

const encoders = {
  vc3: 'dnxhd',
  rdd36: 'prores_ks',
  h264: 'libx264',
  h265: 'libx265',
  ffv1: 'ffv1',
} as const;
export const encoderOf = ({ codec }: Pick<Profile['video'], 'codec'>): string => encoders[codec];

const rdd36Profiles = {
  proxy: 'proxy',
  lt: 'lt',
  standard: 'standard',
  hq: 'hq',
  '4444': '4444',
  '4444-xq': '4444xq',
} as const;

/** What `-profile:v` takes. */
export function encoderProfile(video: Exclude<Profile['video'], { codec: 'ffv1' }>): string {
  if (video.codec === 'vc3') return `dnxhr_${video.quality}`;
  if (video.codec === 'h265') return 'main10';
  return video.codec === 'rdd36' ? rdd36Profiles[video.quality] : 'high';
}

/** What `-preset` of the encoders of H.264 and H.265 takes. */
export const presets = {
  fastest: 'ultrafast',
  'very-fast': 'veryfast',
  fast: 'fast',
  medium: 'medium',
  slow: 'slow',
} as const satisfies Readonly<Record<Extract<Profile['video'], { codec: 'h264' | 'h265' }>['speed'], string>>;

/** The scaler's matrices, which are not named as tags are. RGB has none; the scaler takes no notice of what is said there. */
const scalerMatrices: ReadonlyMap<string, string> = new Map([
  ['bt709', 'bt709'],
  ['rgb', 'bt709'],
  ['fcc', 'fcc'],
  ['bt601-625', 'bt470'],
  ['bt601', 'smpte170m'],
  ['st240', 'smpte240m'],
  ['bt2020', 'bt2020'],
]);

/** Throws RangeError for a matrix that the scaler does not convert. */
export function matrixForScaler(matrix: string): string {
  const name = scalerMatrices.get(matrix);
  if (name === undefined) throw new RangeError(`the scaler has no matrix ${JSON.stringify(matrix)}`);
  return name;
}
