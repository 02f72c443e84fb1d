/** Where the blocks and anchors of a source's fingerprints must lie in a deliverable. */
import type { UsedPart } from './audio-collector.ts';
import { type Anchor, blockSamples, type AudioFingerprint } from './audio-fingerprint.ts';

const audioPrecisions = [16, 24, null] as const;
/** 16, 24: uncompressed at the source's rate, so that samples are equal to that many bits. null: compressed, or another rate. */
export type AudioPrecision = (typeof audioPrecisions)[number];

export interface ExpectedAudio {
  /** Start of the source's track against the picture's start, in samples of the source: as many of silence when positive, as many cut off when negative. */
  readonly offset: number;
  /** Per channel, at the deliverable's rate. */
  readonly samples: number;
  /** Samples that may be there more or fewer; default 0. A lossy track ends with a whole coded block. */
  readonly tolerance?: number;
  readonly precision: AudioPrecision;
  /** Uncompressed at the source's rate, with samples between those of the source: its waveform is the source's, though no sample is. Default false. */
  readonly interpolated?: boolean;
  /** Channel, from 0, of which a coder keeps the lowest octaves only (see `lowFrequencyChannel`); nothing is claimed of it where `precision` is null. */
  readonly lowFrequency?: number | null;
}

/** Where a layout, as ffprobe names it, has its low-frequency channel: ISO/IEC 14496-3 gives coders next to no bandwidth there. */
export function lowFrequencyChannel(layout: string | null): number | null {
  const front = /^(\d)\.[12]\b/.exec(layout ?? '')?.[1];
  return front === undefined ? null : Math.min(3, Number(front));
}

/** The anchor of one source channel and the stretch of every output channel that is kept for it. */
export interface ListeningWindow {
  /** Of the source. */
  readonly channel: number;
  readonly anchor: Anchor;
  readonly heardChannel: number;
  /** Output samples, end exclusive; the window may reach beyond the output, where there is silence. */
  readonly from: number;
  readonly to: number;
}

/**
 * The output cut up after the source's blocks, in output samples:
 *
 *     0    edges[lead]           edges[lead + blocks]   samples
 *     |----|---------------------|----------------------|
 *      lead  blocks of the source  tail
 *
 * Blocks are those of the source that lie wholly in the output, from `firstBlock` on; lead and tail, before and after the source's audio,
 * are cut into blocks of their own.
 */
export interface ListeningPlan {
  readonly edges: readonly number[];
  readonly lead: number;
  readonly blocks: number;
  readonly firstBlock: number;
  /** Whether the output ends within a sample or two of the last block's end, not at it. */
  readonly cut: boolean;
  readonly windows: readonly ListeningWindow[];
}

/** The part of a source's track that a deliverable has time for: what its fingerprints should be collected of. */
export function usedPart(
  sourceRate: number,
  sampleRate: number,
  { offset, samples }: Pick<ExpectedAudio, 'offset' | 'samples'>,
): UsedPart {
  const start = Math.max(0, -offset);
  return { start, end: Math.max(start, Math.ceil((samples * sourceRate) / sampleRate) - offset) };
}

/** Either side of an anchor in its own channel, where it is looked for when it is not in its place: 50 ms. */
function searchSamples(sampleRate: number): number {
  return Math.round(sampleRate / 20);
}

/** Either side of an anchor in the other channels, where it is looked for in case that channels were swapped. */
const OTHER_CHANNEL_SAMPLES = 64;

/** Output sample at which source sample `position` (of the track) is heard, to the nearest. */
export function heardAt(
  position: number,
  source: Pick<AudioFingerprint, 'sampleRate'>,
  sampleRate: number,
  offset: number,
): number {
  const top = (position + offset) * sampleRate;
  return Math.floor((2 * top + source.sampleRate) / (2 * source.sampleRate));
}

/** Throws RangeError for lengths and offsets that are not whole numbers. */
export function planListening(
  source: AudioFingerprint,
  sampleRate: number,
  expected: ExpectedAudio,
): ListeningPlan {
  const { offset, samples } = expected;
  if (!Number.isSafeInteger(offset) || !Number.isSafeInteger(samples) || samples < 0)
    throw new RangeError(`no place for audio: offset ${offset}, ${samples} samples`);
  const size = blockSamples(source.sampleRate);
  const at = (position: number): number => heardAt(position, source, sampleRate, offset);
  const exactly = (block: number): number => at(Math.min(source.end, source.start + block * size));
  // Where rates differ, the end of the used part may fall a sample beyond the output's.
  const slack = 1 + Math.ceil(sampleRate / source.sampleRate);
  const blockAt = (block: number): number =>
    exactly(block) <= samples + slack ? Math.min(samples, exactly(block)) : exactly(block);
  const count = source.channels[0]?.levels.length ?? 0;
  let first = 0;
  while (first < count && blockAt(first) < 0) first++;
  let last = first;
  while (last < count && blockAt(last + 1) <= samples) last++;
  // Before the first block there is silence, unless the source was cut off within a block: then nothing is said of the rest of it.
  const audioStart = first > 0 ? 0 : Math.min(samples, Math.max(0, at(source.start)));
  const audioEnd = Math.min(samples, Math.max(0, at(source.end)));
  const own = blockSamples(sampleRate);
  const edges: number[] = [];
  for (let edge = 0; edge < audioStart; edge += own) edges.push(edge);
  const lead = edges.length;
  if (last > first) for (let block = first; block < last; block++) edges.push(blockAt(block));
  const blocks = last - first;
  edges.push(blocks > 0 ? blockAt(last) : audioStart);
  if (last === count) for (let edge = audioEnd + own; edge < samples; edge += own) edges.push(edge);
  if ((edges.at(-1) as number) < samples && last === count) edges.push(samples);
  const windows: ListeningWindow[] = [];
  for (const [channel, { anchors }] of source.channels.entries()) {
    for (const anchor of anchors) {
      if (anchor.block < first || anchor.block >= last) continue;
      for (const heardChannel of source.channels.keys()) {
        const margin = heardChannel === channel ? searchSamples(sampleRate) : OTHER_CHANNEL_SAMPLES;
        windows.push({
          channel,
          anchor,
          heardChannel,
          from: blockAt(anchor.block) - margin,
          to: blockAt(anchor.block + 1) + margin,
        });
      }
    }
  }
  windows.sort((a, b) => a.from - b.from);
  return { edges, lead, blocks, firstBlock: first, cut: blocks > 0 && exactly(last) > samples, windows };
}
