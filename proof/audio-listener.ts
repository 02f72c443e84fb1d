/** Listens to a deliverable's audio track while it is decoded, at the places that the source's fingerprints name. */
import type { AudioForm } from './audio-collector.ts';
import { BlockChecksums, Meter } from './audio-meter.ts';
import { PcmReader } from './audio-pcm.ts';
import { type ExpectedAudio, type ListeningPlan, type ListeningWindow, planListening } from './audio-plan.ts';
import { type Checksums, GROUP_BLOCKS, type AudioFingerprint } from './audio-fingerprint.ts';
import { type AudioSketch, AudioSketcher, chipsIn } from './audio-sketch.ts';

export interface HeardChannel {
  /** One for each piece of the plan (lead, blocks, tail) that was heard to its end. */
  readonly levels: Uint8Array;
  /** Largest sample of each of them, 1 at full scale. */
  readonly peaks: Float32Array;
  /** Of the groups of blocks that lie wholly in the output, from the plan's first such group on. */
  readonly checksums: Checksums;
  /** Of the source's stretches, from its first on, as far as the output goes. */
  readonly sketch: AudioSketch;
  /** Whether any sample is not 0 before and after the source's audio. */
  readonly leadHasSignal: boolean;
  readonly tailHasSignal: boolean;
}

export interface HeardAudio {
  readonly sampleRate: number;
  /** Samples per channel, counted. */
  readonly samples: number;
  readonly plan: ListeningPlan;
  /** First group with a checksum, counted as the source's. */
  readonly firstGroup: number;
  readonly channels: readonly HeardChannel[];
  /** One for each window of the plan; zeros where the output had ended. */
  readonly windows: readonly Int32Array[];
}

interface ChannelListener {
  readonly meter: Meter;
  readonly sketcher: AudioSketcher;
  readonly levels: number[];
  readonly peaks: number[];
  readonly checksums: BlockChecksums;
  leadHasSignal: boolean;
  tailHasSignal: boolean;
}

/** Takes chunks of interleaved s32le as they come. Memory: the windows of the plan, 24 KB at 48 kHz for each anchor and 4 KB for each other channel. */
export class AudioListener {
  readonly #form: AudioForm;
  readonly #plan: ListeningPlan;
  readonly #reader: PcmReader;
  readonly #channels: readonly ChannelListener[];
  readonly #windows: readonly Int32Array[];
  readonly #groups: { readonly first: number; readonly lastBlock: number };
  #nextWindow = 0;
  #open: number[] = [];
  /** Which piece of the plan is being heard. */
  #piece = 0;
  #frames = 0;

  constructor(source: AudioFingerprint, form: AudioForm, expected: ExpectedAudio) {
    this.#form = form;
    const plan = planListening(source, form.sampleRate, expected);
    // Windows name channels of the source; with another number of channels there is nothing to hold them against.
    this.#plan = form.channels === source.channels.length ? plan : { ...plan, windows: [] };
    this.#reader = new PcmReader(form.channels);
    const place = {
      sourceRate: source.sampleRate,
      sampleRate: form.sampleRate,
      first: ((plan.edges[0] ?? 0) * source.sampleRate) / form.sampleRate - expected.offset - source.start,
      chips: chipsIn(source.end - source.start, source.sampleRate),
    };
    this.#channels = Array.from({ length: form.channels }, (_, channel) => {
      const sketcher = new AudioSketcher(place);
      return {
        meter: new Meter(form, channel, sketcher),
        sketcher,
        levels: [],
        peaks: [],
        checksums: new BlockChecksums(),
        leadHasSignal: false,
        tailHasSignal: false,
      };
    });
    this.#windows = this.#plan.windows.map(({ from, to }) => new Int32Array(Math.max(0, to - from)));
    this.#groups = {
      first: Math.ceil(plan.firstBlock / GROUP_BLOCKS),
      lastBlock: (source.channels[0]?.levels.length ?? 0) - 1,
    };
  }

  take(chunk: Buffer): void {
    const data = this.#reader.take(chunk);
    const frames = data.length / this.#form.channels;
    this.#copyWindows(data, frames);
    const { edges } = this.#plan;
    let at = 0;
    while (this.#piece < edges.length - 1) {
      const start = edges[this.#piece] as number;
      const end = edges[this.#piece + 1] as number;
      // Nothing is measured before the first edge: part of a block that was cut off.
      at = Math.max(at, start - this.#frames);
      const to = Math.min(frames, end - this.#frames);
      if (to > at) for (const { meter } of this.#channels) meter.run(data, at, to);
      if (end - this.#frames > frames) break;
      at = Math.max(at, to);
      this.#endPiece();
    }
    this.#frames += frames;
  }

  #copyWindows(data: Int32Array, frames: number): void {
    const { windows } = this.#plan;
    const { channels } = this.#form;
    const before = this.#frames;
    while (
      this.#nextWindow < windows.length &&
      (windows[this.#nextWindow] as ListeningWindow).from < before + frames
    )
      this.#open.push(this.#nextWindow++);
    for (const index of this.#open) {
      const { from, to, heardChannel } = windows[index] as ListeningWindow;
      const target = this.#windows[index] as Int32Array;
      const last = Math.min(frames, to - before);
      for (let frame = Math.max(0, from - before); frame < last; frame++)
        target[before + frame - from] = data[frame * channels + heardChannel] as number;
    }
    this.#open = this.#open.filter((index) => (windows[index] as ListeningWindow).to > before + frames);
  }

  #endPiece(): void {
    const { lead, blocks, firstBlock } = this.#plan;
    const piece = this.#piece++;
    const block = firstBlock + piece - lead;
    const isBlock = piece >= lead && piece < lead + blocks;
    const endsGroup =
      isBlock && (block % GROUP_BLOCKS === GROUP_BLOCKS - 1 || block === this.#groups.lastBlock);
    for (const channel of this.#channels) {
      const { level, peak } = channel.meter.endBlock();
      channel.levels.push(level);
      channel.peaks.push(peak);
      const audioTracks = channel.meter.endBits() !== 0;
      if (piece < lead) channel.leadHasSignal ||= audioTracks;
      if (piece >= lead + blocks) channel.tailHasSignal ||= audioTracks;
      if (piece === lead - 1 || endsGroup) {
        const sums = channel.meter.endGroup();
        if (endsGroup && Math.floor(block / GROUP_BLOCKS) >= this.#groups.first) channel.checksums.add(sums);
      }
    }
  }

  /** Throws RangeError when the audio ends within a sample frame. */
  end(): HeardAudio {
    this.#reader.end();
    return {
      sampleRate: this.#form.sampleRate,
      samples: this.#frames,
      plan: this.#plan,
      firstGroup: this.#groups.first,
      channels: this.#channels.map(
        ({ levels, peaks, checksums, sketcher, leadHasSignal, tailHasSignal }) => ({
          levels: Uint8Array.from(levels),
          peaks: Float32Array.from(peaks),
          checksums: checksums.end(),
          sketch: sketcher.end(),
          leadHasSignal,
          tailHasSignal,
        }),
      ),
      windows: this.#windows,
    };
  }
}
