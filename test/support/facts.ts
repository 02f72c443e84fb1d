/** Source facts as a survey would give them, with only what a test is about written out. */
import type { Clip } from '../../ledger/clip.ts';
import type { AudioFacts, ClipFacts, VideoFacts } from '../../media/facts.ts';

/** 48 frames of 1920x1080 at 24000/1001, 10 bit 4:2:2, BT.709 limited. */
export function videoFacts(over: Partial<VideoFacts> = {}): VideoFacts {
  const frames = over.frames ?? 48;
  return {
    streamIndex: 0,
    codec: 'rdd36',
    codecTag: 'apch',
    profile: 'HQ',
    level: null,
    width: 1920,
    height: 1080,
    pixelAspect: { num: 1, den: 1 },
    rotation: 0,
    pixelFormat: 'yuv422p10le',
    bitDepth: 10,
    fieldOrder: 'progressive',
    colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'limited' },
    frames,
    claimedFrames: frames,
    rate: { num: 24000, den: 1001 },
    timeBase: { num: 1, den: 24000 },
    firstTime: 0,
    endTime: frames * 1001,
    steps: [{ ticks: 1001, count: frames - 1 }],
    rateConstant: true,
    bytes: frames * 900_000,
    smallestPacket: 890_000,
    largestPacket: 910_000,
    ...over,
  };
}

/** 48 kHz stereo, as long as 48 frames at 24000/1001: 96 096 samples. */
export function audioFacts(over: Partial<AudioFacts> = {}): AudioFacts {
  return {
    streamIndex: 1,
    codec: 'pcm_s24le',
    sampleFormat: 's32',
    bitDepth: 24,
    sampleRate: 48000,
    channels: 2,
    layout: 'stereo',
    samples: 96_096,
    startOffset: 0,
    ...over,
  };
}

/** 48 kHz stereo that lasts as long as the picture, to the nearest sample. */
export const audioFor = (frames: number, { num, den }: VideoFacts['rate']): AudioFacts =>
  audioFacts({ samples: Math.round((frames * 48_000 * den) / num) });

export function clipFacts(
  over: Partial<Omit<ClipFacts, 'video'>> & { video?: Partial<VideoFacts> } = {},
): ClipFacts {
  const { video, ...rest } = over;
  return {
    kind: 'movie',
    container: 'mov,mp4,m4a,3gp,3g2,mj2',
    audio: [audioFacts()],
    timecode: { frame: 86_400, base: 24, drop: false },
    timecodeFrom: 'tmcd',
    reel: 'A001R1AB',
    createdAt: null,
    metadata: {},
    ...rest,
    video: videoFacts(video),
  };
}

export function clipNamed(name: string, id = name): Clip {
  return {
    id,
    name,
    place: { kind: 'movie', file: `${name}.mov` },
    bytes: 1_000_000,
    contentDigest: '0'.repeat(64),
  };
}
