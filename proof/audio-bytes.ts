/**
 * An audio fingerprint as bytes, all numbers little-endian:
 *
 *     f64 samples, f64 start, f64 end, u32 sample rate, u8 channels, u8 depth (16, 24)
 *     each channel: u8 levels of its blocks, then u32 checksums cut24, cut16, rounded16 of its groups,
 *                   of each stretch u8 exponent and 32 i16 mantissas,
 *                   u32 number of anchors, and of each: u32 block, samples of 2 or 3 bytes (the high ones of 32 bits)
 *
 * Numbers of blocks, groups and samples follow from the head. Any fingerprints have one spelling.
 */
import {
  type Anchor,
  blockSamples,
  blocksIn,
  type ChannelFingerprint,
  GROUP_BLOCKS,
  type SampleForm,
  type AudioFingerprint,
  sampleForms,
  audioDepths,
} from './audio-fingerprint.ts';
import { type AudioSketch, BUCKETS, packStretch, stretchesIn, unpackStretch } from './audio-sketch.ts';

const HEAD_BYTES = 3 * 8 + 4 + 1 + 1;
const STRETCH_BYTES = 1 + 2 * BUCKETS;

function anchorSamples(
  fingerprints: Pick<AudioFingerprint, 'sampleRate' | 'start' | 'end'>,
  block: number,
): number {
  const size = blockSamples(fingerprints.sampleRate);
  return Math.min(size, fingerprints.end - fingerprints.start - block * size);
}

export function audioFingerprintBytes(fingerprints: AudioFingerprint): Buffer {
  const width = fingerprints.depth / 8;
  const sizes = fingerprints.channels.map(
    ({ levels, checksums, sketch, anchors }) =>
      levels.length +
      12 * checksums.cut24.length +
      (STRETCH_BYTES * sketch.length) / BUCKETS +
      4 +
      anchors.reduce((sum, { samples }) => sum + 4 + width * samples.length, 0),
  );
  const bytes = Buffer.alloc(sizes.reduce((sum, size) => sum + size, HEAD_BYTES));
  let at = bytes.writeDoubleLE(fingerprints.samples, 0);
  at = bytes.writeDoubleLE(fingerprints.start, at);
  at = bytes.writeDoubleLE(fingerprints.end, at);
  at = bytes.writeUInt32LE(fingerprints.sampleRate, at);
  at = bytes.writeUInt8(fingerprints.channels.length, at);
  at = bytes.writeUInt8(fingerprints.depth, at);
  for (const { levels, checksums, sketch, anchors } of fingerprints.channels) {
    bytes.set(levels, at);
    at += levels.length;
    for (const form of sampleForms) for (const sum of checksums[form]) at = bytes.writeUInt32LE(sum, at);
    for (let stretch = 0; stretch < sketch.length; stretch += BUCKETS) {
      const { exponent, mantissas } = packStretch(sketch.subarray(stretch, stretch + BUCKETS));
      at = bytes.writeUInt8(exponent, at);
      for (const mantissa of mantissas) at = bytes.writeInt16LE(mantissa, at);
    }
    at = bytes.writeUInt32LE(anchors.length, at);
    for (const { block, samples } of anchors) {
      at = bytes.writeUInt32LE(block, at);
      for (const value of samples) at = bytes.writeIntLE(value >> (32 - fingerprints.depth), at, width);
    }
  }
  return bytes;
}

/** Reads field after field and refuses to read beyond the end. */
class Fields {
  readonly #bytes: Buffer;
  #at = 0;

  constructor(bytes: Buffer) {
    this.#bytes = bytes;
  }

  #next(length: number): number {
    const at = this.#at;
    if (length > this.#bytes.length - at)
      throw new RangeError(
        `audio fingerprint ends at byte ${this.#bytes.length}, ${length} more were to be read at ${at}`,
      );
    this.#at += length;
    return at;
  }

  count(): number {
    const value = this.#bytes.readDoubleLE(this.#next(8));
    if (!Number.isSafeInteger(value) || value < 0 || Object.is(value, -0))
      throw new RangeError(`audio fingerprint counts ${value} samples`);
    return value;
  }

  u32(): number {
    return this.#bytes.readUInt32LE(this.#next(4));
  }

  u8(): number {
    return this.#bytes.readUInt8(this.#next(1));
  }

  bytes(length: number): Uint8Array {
    const at = this.#next(length);
    return Uint8Array.from(this.#bytes.subarray(at, at + length));
  }

  numbers(length: number): Uint32Array {
    let at = this.#next(4 * length);
    return Uint32Array.from({ length }, () => {
      const value = this.#bytes.readUInt32LE(at);
      at += 4;
      return value;
    });
  }

  sketch(stretches: number): AudioSketch {
    const sketch = new Float64Array(stretches * BUCKETS);
    for (let stretch = 0; stretch < stretches; stretch += 1) {
      const at = this.#next(STRETCH_BYTES);
      const mantissas = Int16Array.from({ length: BUCKETS }, (_, bucket) =>
        this.#bytes.readInt16LE(at + 1 + 2 * bucket),
      );
      const exponent = this.#bytes.readUInt8(at);
      const sums = unpackStretch({ exponent, mantissas });
      if (packStretch(sums).exponent !== exponent)
        throw new RangeError(`audio fingerprint has a stretch in another spelling at ${at}`);
      sketch.set(sums, stretch * BUCKETS);
    }
    return sketch;
  }

  samples(length: number, depth: number): Int32Array {
    const width = depth / 8;
    let at = this.#next(width * length);
    const samples = new Int32Array(length);
    for (let index = 0; index < length; index++, at += width)
      samples[index] = this.#bytes.readIntLE(at, width) << (32 - depth);
    return samples;
  }

  end(): void {
    if (this.#at !== this.#bytes.length)
      throw new RangeError(`audio fingerprint has ${this.#bytes.length - this.#at} bytes too many`);
  }
}

/** Throws RangeError on bytes that `audioFingerprintBytes` would not have written in this form. */
export function readAudioFingerprint(bytes: Buffer): AudioFingerprint {
  const fields = new Fields(bytes);
  const samples = fields.count();
  const start = fields.count();
  const end = fields.count();
  const sampleRate = fields.u32();
  const channelCount = fields.u8();
  const stated = fields.u8();
  const depth = audioDepths.find((known) => known === stated);
  if (depth === undefined) throw new RangeError(`audio fingerprint of ${stated} bits`);
  if (sampleRate < 1 || sampleRate > 0x7fffffff || channelCount < 1)
    throw new RangeError(`audio fingerprint of ${channelCount} channels at ${sampleRate} Hz`);
  if (end < start || (end > samples && end > start))
    throw new RangeError(`audio fingerprint from ${start} to ${end} of ${samples} samples`);
  const blocks = blocksIn(end - start, sampleRate);
  const groups = Math.ceil(blocks / GROUP_BLOCKS);
  const stretches = stretchesIn(end - start, sampleRate);
  const channels: ChannelFingerprint[] = [];
  for (let channel = 0; channel < channelCount; channel++) {
    const levels = fields.bytes(blocks);
    const checksums = Object.fromEntries(sampleForms.map((form) => [form, fields.numbers(groups)])) as Record<
      SampleForm,
      Uint32Array
    >;
    const sketch = fields.sketch(stretches);
    const anchors: Anchor[] = [];
    const anchorCount = fields.u32();
    let before = -1;
    for (let index = 0; index < anchorCount; index++) {
      const block = fields.u32();
      if (block <= before || block >= blocks)
        throw new RangeError(
          `audio fingerprint has an anchor at block ${block} of ${blocks} after block ${before}`,
        );
      before = block;
      anchors.push({
        block,
        samples: fields.samples(anchorSamples({ sampleRate, start, end }, block), depth),
      });
    }
    channels.push({ levels, checksums, sketch, anchors });
  }
  fields.end();
  return { sampleRate, samples, start, end, depth, channels };
}
