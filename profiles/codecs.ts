/** What each codec of a profile is to ffmpeg, to ffprobe and to its standard. A codec answers for its own abilities here, and nobody switches on names elsewhere. */
import type { Profile, audioFormats, containers } from './schema.ts';

type Container = (typeof containers)[number];
type PixelFormat = Profile['pixel_format'];

export interface CodecTraits {
  readonly encoder: string;
  readonly containers: readonly Container[];
  readonly pixelFormat: PixelFormat;
  /** As ffprobe names what was written. */
  readonly codec: string;
  readonly tag: string;
  readonly profile: string | null;
  /** ffprobe's pixel format of what was written, where it is not the one that was encoded. */
  readonly readBackAs: string | null;
  readonly smallest: { readonly width: number; readonly height: number };
  /** The form of the file has a place for the video range. */
  readonly carriesFullRange: boolean;
  /** Every sample comes back as it went in: such a deliverable keeps its source as it is. */
  readonly lossless: boolean;
}

/** VC-3 compression classes: the P of the frame size, ST 2019-1 (see vc3FrameBytes). */
const vc3Classes = {
  lb: { name: 'DNXHR LB', pixelFormat: 'yuv422p', weight: 5888 },
  sq: { name: 'DNXHR SQ', pixelFormat: 'yuv422p', weight: 18944 },
  hq: { name: 'DNXHR HQ', pixelFormat: 'yuv422p', weight: 28672 },
  hqx: { name: 'DNXHR HQX', pixelFormat: 'yuv422p10le', weight: 28672 },
  '444': { name: 'DNXHR 444', pixelFormat: 'yuv444p10le', weight: 57344 },
} as const satisfies Record<string, { name: string; pixelFormat: PixelFormat; weight: number }>;

/** RDD 36 profiles; `bits`: the encoder's budget a macroblock (FFmpeg 5.1, libavcodec/proresenc_kostya.c, `br_tab`) for pictures of at most 1620, 2700, 6075 and of more macroblocks. */
const rdd36Classes = {
  proxy: {
    name: 'Proxy',
    tag: 'apco',
    argument: 'proxy',
    pixelFormat: 'yuv422p10le',
    bits: [300, 242, 220, 194],
  },
  lt: { name: 'LT', tag: 'apcs', argument: 'lt', pixelFormat: 'yuv422p10le', bits: [720, 560, 490, 440] },
  standard: {
    name: 'Standard',
    tag: 'apcn',
    argument: 'standard',
    pixelFormat: 'yuv422p10le',
    bits: [1050, 808, 710, 632],
  },
  hq: { name: 'HQ', tag: 'apch', argument: 'hq', pixelFormat: 'yuv422p10le', bits: [1566, 1216, 1070, 950] },
  '4444': {
    name: '4444',
    tag: 'ap4h',
    argument: '4444',
    pixelFormat: 'yuv444p10le',
    bits: [2350, 1828, 1600, 1425],
  },
  '4444-xq': {
    name: 'XQ',
    tag: 'ap4x',
    argument: '4444xq',
    pixelFormat: 'yuv444p10le',
    bits: [3525, 2742, 2400, 2137],
  },
} as const satisfies Record<
  string,
  {
    name: string;
    tag: string;
    argument: string;
    pixelFormat: PixelFormat;
    bits: readonly [number, number, number, number];
  }
>;

/** What ffmpeg's `-profile:v` takes. */
export function encoderProfile(video: Exclude<Profile['video'], { codec: 'ffv1' }>): string {
  if (video.codec === 'vc3') return `dnxhr_${video.quality}`;
  return video.codec === 'rdd36' ? rdd36Classes[video.quality].argument : 'high';
}

export function traitsOf(video: Profile['video']): CodecTraits {
  if (video.codec === 'vc3') {
    const kind = vc3Classes[video.quality];
    // The least raster is the encoder's; AVdh is what every reader of this form in MOV looks for.
    return {
      encoder: 'dnxhd',
      containers: ['mov'],
      pixelFormat: kind.pixelFormat,
      codec: 'dnxhd',
      tag: 'AVdh',
      profile: kind.name,
      readBackAs: null,
      smallest: { width: 256, height: 120 },
      carriesFullRange: true,
      lossless: false,
    };
  }
  if (video.codec === 'rdd36') {
    const kind = rdd36Classes[video.quality];
    // The decoder opens every 4:4:4 stream at 12 bits, whatever depth was encoded. RDD 36 pictures are limited range.
    const readBackAs = kind.pixelFormat === 'yuv444p10le' ? 'yuv444p12le' : null;
    return {
      encoder: 'prores_ks',
      containers: ['mov'],
      pixelFormat: kind.pixelFormat,
      codec: 'prores',
      tag: kind.tag,
      profile: kind.name,
      readBackAs,
      smallest: { width: 16, height: 16 },
      carriesFullRange: false,
      lossless: false,
    };
  }
  // As ffmpeg 5.1 writes it into Matroska, by the four letters of older files; RFC 9043, 4.3.3.4 prefers V_FFV1, which has none.
  if (video.codec === 'ffv1')
    return {
      encoder: 'ffv1',
      containers: ['mkv'],
      pixelFormat: 'source',
      codec: 'ffv1',
      tag: 'FFV1',
      profile: null,
      readBackAs: null,
      smallest: { width: 16, height: 16 },
      carriesFullRange: true,
      lossless: true,
    };
  return {
    encoder: 'libx264',
    containers: ['mp4', 'mov'],
    pixelFormat: 'yuv420p',
    codec: 'h264',
    tag: 'avc1',
    profile: 'High',
    readBackAs: null,
    smallest: { width: 16, height: 16 },
    carriesFullRange: true,
    lossless: false,
  };
}

const macroblocks = (width: number, height: number): number => Math.ceil(width / 16) * Math.ceil(height / 16);

/**
 * Bytes of every frame of a resolution-independent VC-3 stream, SMPTE ST 2019-1: the macroblocks' share, rounded
 * half up to 4096, at least 8192. Null for other codecs.
 */
export function vc3FrameBytes(video: Profile['video'], width: number, height: number): number | null {
  if (video.codec !== 'vc3') return null;
  const share = (BigInt(macroblocks(width, height)) * BigInt(vc3Classes[video.quality].weight)) / 255n;
  const bytes = Number(((share + 2048n) / 4096n) * 4096n);
  return Math.max(8192, bytes);
}

/** Bits a frame that the RDD 36 encoder aims at; busy pictures take more. */
export function rdd36TargetBits(quality: keyof typeof rdd36Classes, width: number, height: number): number {
  const count = macroblocks(width, height);
  const [small, medium, large, largest] = rdd36Classes[quality].bits;
  return count * (count <= 1620 ? small : count <= 2700 ? medium : count <= 6075 ? large : largest);
}

type AudioFormat = Exclude<(typeof audioFormats)[number], 'source'>;
export interface AudioTraits {
  /** The same name for encoder and codec. */
  readonly encoder: string;
  readonly bytesPerSample: number | null;
  readonly containers: readonly Container[];
  /** Most channels a track, and the rates it takes; null: any. */
  readonly channels: number;
  readonly rates: readonly number[] | null;
  /** Samples that a reader may count more: a compressed track ends with a whole block. */
  readonly block: number;
}

/** AAC rates: the sampling frequency table of ISO/IEC 14496-3; a frame is 1024 samples. */
const aacRates = [
  96000, 88200, 64000, 48000, 44100, 32000, 24000, 22050, 16000, 12000, 11025, 8000, 7350,
] as const;
export const audioTraitsByFormat: Readonly<Record<AudioFormat, AudioTraits>> = {
  s16: { encoder: 'pcm_s16le', bytesPerSample: 2, containers: ['mov'], channels: 64, rates: null, block: 0 },
  s24: { encoder: 'pcm_s24le', bytesPerSample: 3, containers: ['mov'], channels: 64, rates: null, block: 0 },
  aac: {
    encoder: 'aac',
    bytesPerSample: null,
    containers: ['mov', 'mp4'],
    channels: 8,
    rates: aacRates,
    block: 1024,
  },
};

/** Uncompressed audio that Matroska has a form for, by ffmpeg's names, and what keeps its samples: the order of bytes within one is no part of it. */
const uncompressed = ['u8', 's16', 's24', 's32', 'f32', 'f64'] as const;
const asSource = new Map<string, AudioTraits>(
  uncompressed.flatMap((form) => {
    const bytes = Number(form.slice(1)) / 8;
    const encoder = bytes === 1 ? `pcm_${form}` : `pcm_${form}le`;
    const traits: AudioTraits = {
      encoder,
      bytesPerSample: bytes,
      containers: ['mkv'],
      channels: 64,
      rates: null,
      block: 0,
    };
    return (bytes === 1 ? [encoder] : [encoder, `pcm_${form}be`]).map((codec) => [codec, traits] as const);
  }),
);

/** What a track comes out as; null: `source`, and the track is no audio that can be kept as it is. */
export function audioTraits(format: (typeof audioFormats)[number], sourceCodec: string): AudioTraits | null {
  return format === 'source' ? (asSource.get(sourceCodec) ?? null) : audioTraitsByFormat[format];
}
export const keptAudio: readonly string[] = [...asSource.keys()];
/** Every encoder that audio of the format may need; a decoder has the same name. */
export function audioEncoders(format: (typeof audioFormats)[number]): readonly string[] {
  return format === 'source'
    ? [...new Set([...asSource.values()].map(({ encoder }) => encoder))]
    : [audioTraitsByFormat[format].encoder];
}
/** Whether any audio of the format can be in the container. */
export function audioContainers(format: (typeof audioFormats)[number]): readonly Container[] {
  return format === 'source' ? ['mkv'] : audioTraitsByFormat[format].containers;
}
