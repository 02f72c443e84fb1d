/** What each codec of a profile is to its standard, and how it is read back. A codec answers for its own abilities here, and nobody switches on names elsewhere. */
import type { Profile, audioFormats, containers } from './schema.ts';

type Container = (typeof containers)[number];
type Pixels = Profile['pixels'];

export interface CodecTraits {
  readonly containers: readonly Container[];
  readonly pixels: Pixels;
  readonly codec: Profile['video']['codec'];
  /** Four characters of the container. */
  readonly tag: string;
  /** As ffprobe names it. */
  readonly profile: string | null;
  /** What the decoder gives, where it is not what was encoded. */
  readonly readBackAs: '4:4:4 12-bit' | null;
  readonly smallest: { readonly width: number; readonly height: number };
  /** The form of the file has a place for the video range. */
  readonly carriesFullRange: boolean;
  /** Every sample comes back as it went in: such a deliverable keeps its source as it is. */
  readonly lossless: boolean;
}

/** VC-3 compression classes: the P of the frame size, ST 2019-1 (see vc3FrameBytes). */
const vc3Classes = {
  lb: { name: 'DNXHR LB', pixels: '4:2:2 8-bit', weight: 5888 },
  sq: { name: 'DNXHR SQ', pixels: '4:2:2 8-bit', weight: 18944 },
  hq: { name: 'DNXHR HQ', pixels: '4:2:2 8-bit', weight: 28672 },
  hqx: { name: 'DNXHR HQX', pixels: '4:2:2 10-bit', weight: 28672 },
  '444': { name: 'DNXHR 444', pixels: '4:4:4 10-bit', weight: 57344 },
} as const satisfies Record<string, { name: string; pixels: Pixels; weight: number }>;

/** RDD 36 profiles; `bits`: the encoder's budget a macroblock (FFmpeg 5.1, libavcodec/proresenc_kostya.c, `br_tab`) for pictures of at most 1620, 2700, 6075 and of more macroblocks. */
const rdd36Classes = {
  proxy: {
    name: 'Proxy',
    tag: 'apco',
    pixels: '4:2:2 10-bit',
    bits: [300, 242, 220, 194],
  },
  lt: { name: 'LT', tag: 'apcs', pixels: '4:2:2 10-bit', bits: [720, 560, 490, 440] },
  standard: {
    name: 'Standard',
    tag: 'apcn',
    pixels: '4:2:2 10-bit',
    bits: [1050, 808, 710, 632],
  },
  hq: { name: 'HQ', tag: 'apch', pixels: '4:2:2 10-bit', bits: [1566, 1216, 1070, 950] },
  '4444': {
    name: '4444',
    tag: 'ap4h',
    pixels: '4:4:4 10-bit',
    bits: [2350, 1828, 1600, 1425],
  },
  '4444-xq': {
    name: 'XQ',
    tag: 'ap4x',
    pixels: '4:4:4 10-bit',
    bits: [3525, 2742, 2400, 2137],
  },
} as const satisfies Record<
  string,
  {
    name: string;
    tag: string;
    pixels: Pixels;
    bits: readonly [number, number, number, number];
  }
>;

export function traitsOf(video: Profile['video']): CodecTraits {
  if (video.codec === 'vc3') {
    const kind = vc3Classes[video.quality];
    // The least raster is the encoder's; AVdh is what every reader of this form in MOV looks for.
    return {
      containers: ['mov'],
      pixels: kind.pixels,
      codec: 'vc3',
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
    const readBackAs = kind.pixels === '4:4:4 10-bit' ? '4:4:4 12-bit' : null;
    return {
      containers: ['mov'],
      pixels: kind.pixels,
      codec: 'rdd36',
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
      containers: ['mkv'],
      pixels: 'source',
      codec: 'ffv1',
      tag: 'FFV1',
      profile: null,
      readBackAs: null,
      smallest: { width: 16, height: 16 },
      carriesFullRange: true,
      lossless: true,
    };
  // Parameter sets in the sample entry alone (ISO/IEC 14496-15, 8.4.1): players that know no other form take this one.
  if (video.codec === 'h265')
    return {
      containers: ['mp4'],
      pixels: '4:2:0 10-bit',
      codec: 'h265',
      tag: 'hvc1',
      profile: 'Main 10',
      readBackAs: null,
      smallest: { width: 64, height: 64 },
      carriesFullRange: true,
      lossless: false,
    };
  return {
    containers: ['mp4', 'mov'],
    pixels: '4:2:0 8-bit',
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
  'pcm-16': {
    encoder: 'pcm_s16le',
    bytesPerSample: 2,
    containers: ['mov'],
    channels: 64,
    rates: null,
    block: 0,
  },
  'pcm-24': {
    encoder: 'pcm_s24le',
    bytesPerSample: 3,
    containers: ['mov'],
    channels: 64,
    rates: null,
    block: 0,
  },
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
