/**
 * The elementary stream descriptor of an AAC track: ISO/IEC 14496-1, 7.2.6.5 (descriptors), 14496-14, 5.6 (where it stands), and
 * 14496-3, 1.6.2.1 (the configuration in it).
 */
import { type Box, MovieError, type Part, place } from './boxes.ts';

export interface StreamDescriptor {
  readonly box: Box;
  /** Version and flags of the box, and what the descriptor says before its parts. */
  readonly version: number;
  readonly id: number;
  readonly flags: number;
  readonly objectType: number;
  readonly streamType: number;
  readonly buffer: number;
  readonly mostBits: number;
  readonly meanBits: number;
  /** 14496-3, Table 1.17: 2 is AAC LC. */
  readonly audioObject: number;
  readonly sampleRate: number;
  /** Table 1.19; 0: told by the stream's own description of its channels. */
  readonly channels: number;
  /** What stands in the configuration behind object, rate and channels: flags, and that no extension is used. */
  readonly plain: boolean;
  /** What says how far the decoder reads, and that nothing stands behind it. */
  readonly exact: boolean;
}

/** 14496-3, Table 1.18. */
const rates = [
  96000, 88200, 64000, 48000, 44100, 32000, 24000, 22050, 16000, 12000, 11025, 8000, 7350,
] as const;
const EXPLICIT_RATE = 15;
/** 14496-3, Table 1.19: configurations 1 to 7. */
const channelCounts = [0, 1, 2, 3, 4, 5, 6, 8] as const;
/** 14496-3, 1.6.2.1: the word 0x2b7, object 5, and that it is not there. */
const NO_EXTENSION = '56e500';
const TAG = { stream: 3, decoder: 4, specific: 5, layer: 6 } as const;

export function readStreamDescriptor({ bytes, base }: Part, box: Box): StreamDescriptor {
  const content = bytes.subarray(box.start - base, box.end - base);
  const where = place(box.path, box.at);
  const damaged = (): never => {
    throw new MovieError(`${where}: a descriptor that cannot be followed`);
  };
  /** 14496-1, 8.3.3: seven bits a byte, at most four of them. */
  const descriptor = (from: number, limit: number, tag: number): { start: number; end: number } => {
    if (from + 2 > limit || content[from] !== tag) return damaged();
    let [at, size] = [from + 1, 0];
    for (let count = 0; ; count += 1) {
      const byte = content[at];
      if (byte === undefined || at >= limit || count === 4) return damaged();
      at += 1;
      size = size * 128 + (byte & 0x7f);
      if ((byte & 0x80) === 0) break;
    }
    return at + size > limit ? damaged() : { start: at, end: at + size };
  };
  if (content.length < 4) return damaged();
  const stream = descriptor(4, content.length, TAG.stream);
  if (stream.start + 3 > stream.end) return damaged();
  const decoder = descriptor(stream.start + 3, stream.end, TAG.decoder);
  if (decoder.start + 13 > decoder.end) return damaged();
  const specific = descriptor(decoder.start + 13, decoder.end, TAG.specific);
  if (specific.start + 2 > specific.end) return damaged();
  const layer = descriptor(decoder.end, stream.end, TAG.layer);
  const words = content.readUInt16BE(specific.start);
  const index = (words >> 7) & 15;
  // With a rate of its own, which none of the usual ones needs, channels stand elsewhere.
  const channels = index === EXPLICIT_RATE ? 0 : (channelCounts[(words >> 3) & 15] ?? 0);
  return {
    box,
    version: content.readUInt32BE(0),
    id: content.readUInt16BE(stream.start),
    flags: content[stream.start + 2] as number,
    objectType: content[decoder.start] as number,
    streamType: content[decoder.start + 1] as number,
    buffer: content.readUIntBE(decoder.start + 2, 3),
    mostBits: content.readUInt32BE(decoder.start + 5),
    meanBits: content.readUInt32BE(decoder.start + 9),
    audioObject: words >> 11,
    sampleRate: rates[index] ?? 0,
    channels,
    plain:
      channels === 0 ||
      ((words & 7) === 0 &&
        ['', NO_EXTENSION].includes(content.toString('hex', specific.start + 2, specific.end))),
    exact:
      layer.end - layer.start === 1 &&
      content[layer.start] === 2 &&
      layer.end === stream.end &&
      stream.end === content.length,
  };
}
