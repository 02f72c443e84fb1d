/**
 * audio fingerprint: what is kept of one source audio track so that a deliverable can be held against it when the source is away.
 *
 * The used part of the track (`start` to `end`) is divided into blocks of 20 ms. Of every channel it holds:
 * - the level of each block, in the band that lossy codecs keep: 1 byte;
 * - of each group of ten blocks three checksums, so that uncompressed audio is proved to the last sample: 12 bytes;
 * - of each stretch of 100 ms a sketch, whose difference from another's gives the energy of the difference (audio-sketch.ts): 65 bytes;
 * - anchors: the raw samples of the loudest block of the first second, of each 15 s after it, and of the last second:
 *   20 ms of 2 bytes (tracks of 16 bits) or 3 bytes a sample.
 *
 * Fifteen minutes of 48 kHz stereo: 90 KB of levels, 108 KB of checksums, 1170 KB of sketches, 357 KB of anchors at 24 bits (238 KB at 16).
 */
import type { AudioSketch } from './audio-sketch.ts';

/** Blocks in a second. */
export const BLOCKS_A_SECOND = 50;
/** Blocks in the first and in the last second, which have anchors of their own. */
export const EDGE_BLOCKS = BLOCKS_A_SECOND;
/** Blocks that share one anchor between first and last second: 15 s. */
export const INTERVAL_BLOCKS = 15 * BLOCKS_A_SECOND;
/** Blocks under one checksum: 200 ms. */
export const GROUP_BLOCKS = 10;

export const audioDepths = [16, 24] as const;
export type AudioDepth = (typeof audioDepths)[number];

/**
 * How samples came to fewer bits. swresample cuts whole numbers (s32 to s16 is a shift) and rounds floating point to the
 * nearest, halves to even; pcm_s24le cuts its s32 in both cases. Measured with FFmpeg 5.1; libswresample/audioconvert.c.
 */
export const sampleForms = ['cut24', 'cut16', 'rounded16'] as const;
export type SampleForm = (typeof sampleForms)[number];
/** One checksum for each group of blocks, of the samples in each form. */
export type Checksums = Readonly<Record<SampleForm, Uint32Array>>;

export interface Anchor {
  /** Which block of the used part, from 0. */
  readonly block: number;
  /** Its samples at 32-bit full scale, cut to the fingerprints' depth. */
  readonly samples: Int32Array;
}

export interface ChannelFingerprint {
  /** One for each block: 254 + 2 · dBFS of its root mean square, 0 at -127 dB and below. */
  readonly levels: Uint8Array;
  readonly checksums: Checksums;
  readonly sketch: AudioSketch;
  /** In the order of their blocks; none where the channel holds nothing but zeros. */
  readonly anchors: readonly Anchor[];
}

export interface AudioFingerprint {
  readonly sampleRate: number;
  /** Samples per channel, counted, of the whole track. */
  readonly samples: number;
  /** The used part, in samples of the track, end exclusive. */
  readonly start: number;
  readonly end: number;
  /** 16 when every used sample fits into 16 bits, else 24. */
  readonly depth: AudioDepth;
  readonly channels: readonly ChannelFingerprint[];
}

/** Samples in a block; the last block of fingerprints may be shorter. */
export function blockSamples(sampleRate: number): number {
  return Math.max(1, Math.round(sampleRate / BLOCKS_A_SECOND));
}

export function blocksIn(samples: number, sampleRate: number): number {
  return Math.ceil(samples / blockSamples(sampleRate));
}

/** Decibels below full scale of a stored level; -Infinity for 0. */
export function decibelsOf(level: number): number {
  return level === 0 ? Number.NEGATIVE_INFINITY : (level - 254) / 2;
}
