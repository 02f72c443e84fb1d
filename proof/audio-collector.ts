/** Collects the fingerprints of a source's audio track while it is decoded. */
import { BlockChecksums, Meter } from './audio-meter.ts';
import { AudioSketcher } from './audio-sketch.ts';
import { PcmReader } from './audio-pcm.ts';
import {
  type Anchor,
  blockSamples,
  EDGE_BLOCKS,
  GROUP_BLOCKS,
  INTERVAL_BLOCKS,
  type AudioDepth,
  type AudioFingerprint,
} from './audio-fingerprint.ts';

export interface AudioForm {
  /** 1 to 255. */
  readonly channels: number;
  /** Hertz, up to 2^31. */
  readonly sampleRate: number;
}

/** The part of the track that the picture has time for, in samples of the track, end exclusive. */
export interface UsedPart {
  readonly start: number;
  readonly end: number;
}

/** Reach of the filter that anchors are compared through, and some more. */
const EDGE_SECONDS = 0.0015;

/** The block that is loudest within its edges, so far. */
interface Loudest {
  energy: number;
  block: number;
  samples: Int32Array;
}

/** One channel: its meter, what it has measured, the loudest block of the interval that runs. */
class ChannelCollector {
  readonly meter: Meter;
  readonly #sketcher: AudioSketcher;
  readonly #channels: number;
  readonly #channel: number;
  readonly #edge: number;
  readonly #levels: number[] = [];
  readonly #checksums = new BlockChecksums();
  readonly #anchors = new Map<number, Int32Array>();
  /** Energies of the last second, where its blocks still lie in the ring. */
  readonly #energies = new Float64Array(EDGE_BLOCKS);
  #loudest: Loudest | null = null;

  constructor(form: AudioForm, channel: number) {
    const { sampleRate } = form;
    this.#sketcher = new AudioSketcher({
      sourceRate: sampleRate,
      sampleRate,
      first: 0,
      chips: Number.POSITIVE_INFINITY,
    });
    this.meter = new Meter(form, channel, this.#sketcher);
    this.#channels = form.channels;
    this.#channel = channel;
    this.#edge = Math.round(form.sampleRate * EDGE_SECONDS);
  }

  #samplesOf(block: Int32Array): Int32Array {
    const samples = new Int32Array(block.length / this.#channels);
    for (let index = 0; index < samples.length; index++)
      samples[index] = block[index * this.#channels + this.#channel] as number;
    return samples;
  }

  #keepLoudest(): void {
    if (this.#loudest !== null) this.#anchors.set(this.#loudest.block, this.#loudest.samples);
    this.#loudest = null;
  }

  block(data: Int32Array, index: number): void {
    // What lies at the edges of a block is of little use for telling a time, since a filter sees beyond them.
    const frames = data.length / this.#channels;
    const edge = Math.min(this.#edge, frames >> 1);
    this.meter.run(data, 0, edge);
    const before = this.meter.energy;
    this.meter.run(data, edge, frames - edge);
    const energy = this.meter.energy - before;
    this.meter.run(data, frames - edge, frames);
    this.#levels.push(this.meter.endBlock().level);
    if (index % GROUP_BLOCKS === GROUP_BLOCKS - 1) this.#checksums.add(this.meter.endGroup());
    this.#energies[index % EDGE_BLOCKS] = energy;
    if (energy > (this.#loudest?.energy ?? 0))
      this.#loudest = { energy, block: index, samples: this.#samplesOf(data) };
    const inside = index + 1 - EDGE_BLOCKS;
    if (inside >= 0 && inside % INTERVAL_BLOCKS === 0) this.#keepLoudest();
  }

  end(
    blocks: number,
    inRing: (block: number) => Int32Array,
    depth: AudioDepth,
  ): AudioFingerprint['channels'][number] {
    this.#keepLoudest();
    let best = { energy: 0, block: -1 };
    for (let block = Math.max(0, blocks - EDGE_BLOCKS); block < blocks; block++) {
      const energy = this.#energies[block % EDGE_BLOCKS] as number;
      if (energy > best.energy) best = { energy, block };
    }
    if (best.block >= 0) this.#anchors.set(best.block, this.#samplesOf(inRing(best.block)));
    if (blocks % GROUP_BLOCKS !== 0) this.#checksums.add(this.meter.endGroup());
    const anchors: Anchor[] = [...this.#anchors]
      .sort(([a], [b]) => a - b)
      .map(([block, samples]) => ({
        block,
        samples: samples.map((value) => value & (depth === 16 ? ~0xffff : ~0xff)),
      }));
    return {
      levels: Uint8Array.from(this.#levels),
      checksums: this.#checksums.end(),
      sketch: this.#sketcher.end(),
      anchors,
    };
  }
}

/**
 * Takes chunks of interleaved s32le as they come. Memory: the last second of audio and the fingerprints. The same samples give the
 * same fingerprints, however they are cut into chunks.
 */
export class AudioCollector {
  readonly #form: AudioForm;
  readonly #used: UsedPart;
  readonly #reader: PcmReader;
  readonly #channels: readonly ChannelCollector[];
  /** The blocks of the last second and the one that is being filled. */
  readonly #ring: readonly Int32Array[];
  /** Sample frames in a block, in the block that is being filled; whole blocks; sample frames of the track. */
  readonly #blockFrames: number;
  #filled = 0;
  #blocks = 0;
  #frames = 0;

  /** `used` defaults to the whole track. Throws RangeError for a form or part that cannot be. */
  constructor(form: AudioForm, used: UsedPart = { start: 0, end: Number.MAX_SAFE_INTEGER }) {
    if (!Number.isInteger(form.channels) || form.channels < 1 || form.channels > 255)
      throw new RangeError(`${form.channels} channels`);
    if (!Number.isInteger(form.sampleRate) || form.sampleRate < 1 || form.sampleRate > 0x7fffffff)
      throw new RangeError(`${form.sampleRate} Hz`);
    if (
      !Number.isSafeInteger(used.start) ||
      !Number.isSafeInteger(used.end) ||
      used.start < 0 ||
      used.end < used.start
    )
      throw new RangeError(`no part of a track: ${used.start} to ${used.end}`);
    this.#form = form;
    this.#used = used;
    this.#reader = new PcmReader(form.channels);
    this.#blockFrames = blockSamples(form.sampleRate);
    this.#channels = Array.from(
      { length: form.channels },
      (_, channel) => new ChannelCollector(form, channel),
    );
    this.#ring = Array.from({ length: EDGE_BLOCKS }, () => new Int32Array(this.#blockFrames * form.channels));
  }

  #current(): Int32Array {
    return this.#ring[this.#blocks % EDGE_BLOCKS] as Int32Array;
  }

  take(chunk: Buffer): void {
    const data = this.#reader.take(chunk);
    const { channels } = this.#form;
    const frames = data.length / channels;
    const last = Math.min(frames, this.#used.end - this.#frames);
    let at = Math.max(0, this.#used.start - this.#frames);
    while (at < last) {
      const count = Math.min(last - at, this.#blockFrames - this.#filled);
      this.#current().set(data.subarray(at * channels, (at + count) * channels), this.#filled * channels);
      this.#filled += count;
      at += count;
      if (this.#filled === this.#blockFrames) this.#endBlock(this.#current());
    }
    this.#frames += frames;
  }

  #endBlock(data: Int32Array): void {
    for (const channel of this.#channels) channel.block(data, this.#blocks);
    this.#blocks += 1;
    this.#filled = 0;
  }

  /** The fingerprints; the collector takes nothing after it. Throws RangeError when the audio ends within a sample frame. */
  end(): AudioFingerprint {
    this.#reader.end();
    const { channels, sampleRate } = this.#form;
    const partial = this.#filled;
    if (partial > 0) this.#endBlock(this.#current().subarray(0, partial * channels));
    const blocks = this.#blocks;
    const inRing = (block: number): Int32Array => {
      const data = this.#ring[block % EDGE_BLOCKS] as Int32Array;
      return partial > 0 && block === blocks - 1 ? data.subarray(0, partial * channels) : data;
    };
    const bits = this.#channels.reduce((all, { meter }) => all | meter.endBits(), 0);
    const depth = (bits & 0xffff) === 0 ? 16 : 24;
    const end = Math.max(this.#used.start, Math.min(this.#used.end, this.#frames));
    return {
      sampleRate,
      samples: this.#frames,
      start: this.#used.start,
      end,
      depth,
      channels: this.#channels.map((channel) => channel.end(blocks, inRing, depth)),
    };
  }
}
