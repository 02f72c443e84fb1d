/** Facts of the audio streams: how many samples are played, and where they begin against the picture. */
import type { AudioFacts, VideoFacts } from '../facts.ts';
import { type Ratio, roundedDivision, safeNumber } from '../time/rate.ts';
import type { AudioTally } from './packets.ts';
import { ratioOf } from './picture.ts';
import type { StreamHeader } from './scan.ts';

/** Bytes of one sample of all channels, for uncompressed audio whose packets hold nothing else; null otherwise. */
function blockBytes(stream: StreamHeader): number | null {
  const plain = /^pcm_(?:[suf](?:8|16|24|32|64)(?:le|be)?|alaw|mulaw)$/.test(stream.codec_name ?? '');
  const bits = (stream.bits_per_sample ?? 0) * (stream.channels ?? 0);
  return plain && bits > 0 && bits % 8 === 0 ? bits / 8 : null;
}

interface Clock {
  /** Samples in one tick: top / bottom. */
  readonly top: bigint;
  readonly bottom: bigint;
}

function clockOf(timeBase: Ratio, sampleRate: number): Clock {
  return { top: BigInt(timeBase.num) * BigInt(sampleRate), bottom: BigInt(timeBase.den) };
}

/**
 * Samples in counted packets. Uncompressed audio is measured in bytes, but never beyond the packet's own duration (an
 * edit list may cut the last packet short), unless the clock is too coarse to count samples by (Matroska's milliseconds). Other audio is measured in durations, summed before rounding.
 */
function samplesIn(packets: ReadonlyMap<string, number>, block: number | null, clock: Clock): number {
  let whole = 0;
  let ticks = 0n;
  for (const [key, count] of packets) {
    const [bytes, duration] = key.split('/').map(Number) as [number, number];
    const byDuration = Number(roundedDivision(BigInt(duration) * clock.top, clock.bottom));
    if (block !== null)
      whole +=
        count *
        (duration > 0 && clock.top <= clock.bottom
          ? Math.min(Math.floor(bytes / block), byDuration)
          : Math.floor(bytes / block));
    else ticks += BigInt(duration) * BigInt(count);
  }
  return whole + safeNumber(roundedDivision(ticks * clock.top, clock.bottom));
}

/** Null when the stream has no sample rate or channels: no decoder knows it. */
export function audioFacts(
  stream: StreamHeader,
  tally: AudioTally | undefined,
  picture: VideoFacts,
): AudioFacts | null {
  const sampleRate = Number(stream.sample_rate);
  const timeBase = ratioOf(stream.time_base);
  if (
    !Number.isSafeInteger(sampleRate) ||
    sampleRate <= 0 ||
    !stream.channels ||
    stream.codec_name === undefined ||
    timeBase === null
  )
    return null;
  const clock = clockOf(timeBase, sampleRate);
  const block = blockBytes(stream);
  let samples = 0;
  let startOffset = 0;
  if (tally !== undefined && tally.first !== null && tally.end !== null) {
    const hidden = samplesIn(tally.hiddenBefore, block, clock);
    const skippedInFirst = Math.max(0, tally.skip - hidden);
    // A time base coarser than a sample rounds every packet: then only first and last time say how long it is.
    const coarse = block === null && clock.top > clock.bottom;
    const length = coarse
      ? safeNumber(roundedDivision(BigInt(tally.end - tally.first) * clock.top, clock.bottom))
      : samplesIn(tally.played, block, clock);
    samples = Math.max(0, length - skippedInFirst - tally.padding);
    // Seconds of audio start minus seconds of picture start, over one common denominator.
    const audioStart = BigInt(tally.first) * BigInt(timeBase.num) * BigInt(picture.timeBase.den);
    const pictureStart = BigInt(picture.firstTime) * BigInt(picture.timeBase.num) * BigInt(timeBase.den);
    const common = BigInt(timeBase.den) * BigInt(picture.timeBase.den);
    startOffset =
      safeNumber(roundedDivision((audioStart - pictureStart) * BigInt(sampleRate), common)) + skippedInFirst;
  }
  const bits = stream.bits_per_sample || Number(stream.bits_per_raw_sample);
  return {
    streamIndex: stream.index,
    codec: stream.codec_name,
    sampleFormat: stream.sample_fmt ?? 'unknown',
    bitDepth: Number.isSafeInteger(bits) && bits > 0 ? bits : null,
    sampleRate,
    channels: stream.channels,
    layout:
      stream.channel_layout === undefined || stream.channel_layout === 'unknown'
        ? null
        : stream.channel_layout,
    samples,
    startOffset,
  };
}
