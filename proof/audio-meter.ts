/** Measures one channel sample by sample: level of a block in the band that coders keep, checksums of a group, whether there is anything at all. */
import { type SampleForm, sampleForms } from './audio-fingerprint.ts';
import type { AudioSketcher } from './audio-sketch.ts';

/** The band in which AAC keeps the waveform and which every delivered rate can hold: fourth order, so that what lies above does not count. */
const BAND_HERTZ = 4000;
/** Butterworth: two sections of second order, 1 / (2 · sin(π/8)) and 1 / (2 · sin(3π/8)). */
const QUALITIES = [1.3065629648763766, 0.541196100146197] as const;
const FULL_SCALE = 2 ** 31;
/** Odd, with well-mixed bits (FNV's 32-bit prime). */
const PRIME = 0x01000193;
const SEED = 0x811c9dc5;
/** Below this nothing is left of audio that has stopped; smaller numbers still would slow the processor down. */
const GONE = 1e-12;

/** Low pass of second order by the bilinear transform: y = b · (x + 2x' + x'') - p · y' - q · y''. */
function section(sampleRate: number, quality: number): { b: number; p: number; q: number } {
  // A rate too low for the band is left as it is, nearly.
  const angle = (2 * Math.PI * Math.min(BAND_HERTZ, 0.45 * sampleRate)) / sampleRate;
  const alpha = Math.sin(angle) / (2 * quality);
  return {
    b: (1 - Math.cos(angle)) / 2 / (1 + alpha),
    p: (-2 * Math.cos(angle)) / (1 + alpha),
    q: (1 - alpha) / (1 + alpha),
  };
}

export class Meter {
  readonly #channels: number;
  readonly #channel: number;
  readonly #sketcher: AudioSketcher;
  readonly #one: ReturnType<typeof section>;
  readonly #two: ReturnType<typeof section>;
  /** The sections' states (transposed direct form II). */
  #one1 = 0;
  #one2 = 0;
  #two1 = 0;
  #two2 = 0;
  #energy = 0;
  #peak = 0;
  #samples = 0;
  #cut24 = SEED;
  #cut16 = SEED;
  #rounded16 = SEED;
  #bits = 0;

  constructor(
    { channels, sampleRate }: { readonly channels: number; readonly sampleRate: number },
    channel: number,
    sketcher: AudioSketcher,
  ) {
    this.#channels = channels;
    this.#channel = channel;
    this.#sketcher = sketcher;
    this.#one = section(sampleRate, QUALITIES[0]);
    this.#two = section(sampleRate, QUALITIES[1]);
  }

  /** Sample frames `from` to `to` of interleaved samples. */
  run(data: Int32Array, from: number, to: number): void {
    const step = this.#channels;
    const last = to * step;
    const { b: b1, p: p1, q: q1 } = this.#one;
    const { b: b2, p: p2, q: q2 } = this.#two;
    let one1 = this.#one1;
    let one2 = this.#one2;
    let two1 = this.#two1;
    let two2 = this.#two2;
    let energy = this.#energy;
    let peak = this.#peak;
    let cut24 = this.#cut24;
    let cut16 = this.#cut16;
    let rounded16 = this.#rounded16;
    let bits = this.#bits;
    const sketcher = this.#sketcher;
    for (let index = from * step + this.#channel; index < last; index += step) {
      const value = data[index] as number;
      const x = b1 * value;
      const middle = x + one1;
      one1 = 2 * x - p1 * middle + one2;
      one2 = x - q1 * middle;
      const y = b2 * middle;
      const out = y + two1;
      two1 = 2 * y - p2 * out + two2;
      two2 = y - q2 * out;
      energy += out * out;
      sketcher.take(out);
      bits |= value;
      const size = value < 0 ? -value : value;
      if (size > peak) peak = size;
      const high = value >> 16;
      // Nearest, halves to even, and never above the highest 16-bit number.
      const up = high === 32767 ? high : high + (((value & 0xffff) + 0x7fff + (high & 1)) >> 16);
      cut24 = Math.imul(cut24 ^ (value >> 8), PRIME);
      cut24 ^= cut24 >>> 15;
      cut16 = Math.imul(cut16 ^ high, PRIME);
      cut16 ^= cut16 >>> 15;
      rounded16 = Math.imul(rounded16 ^ up, PRIME);
      rounded16 ^= rounded16 >>> 15;
    }
    this.#samples += to - from;
    this.#one1 = one1;
    this.#one2 = one2;
    this.#two1 = two1;
    this.#two2 = two2;
    this.#energy = energy;
    this.#peak = peak;
    this.#cut24 = cut24;
    this.#cut16 = cut16;
    this.#rounded16 = rounded16;
    this.#bits = bits;
  }

  /** Energy in the band since the last end of a block. */
  get energy(): number {
    return this.#energy;
  }

  /** Of the samples since the last call: energy in the band, the level as fingerprints stores it, and the largest sample, 1 at full scale. */
  endBlock(): { energy: number; level: number; peak: number } {
    const energy = this.#energy;
    const peak = this.#peak / FULL_SCALE;
    const decibels =
      energy === 0
        ? Number.NEGATIVE_INFINITY
        : 10 * Math.log10(energy / this.#samples) - 20 * Math.log10(FULL_SCALE);
    this.#energy = 0;
    this.#peak = 0;
    this.#samples = 0;
    if (Math.abs(this.#one1) + Math.abs(this.#one2) + Math.abs(this.#two1) + Math.abs(this.#two2) < GONE)
      this.#one1 = this.#one2 = this.#two1 = this.#two2 = 0;
    return { energy, level: Math.min(255, Math.max(0, Math.round(254 + 2 * decibels))), peak };
  }

  /** Checksums of the samples since the last call. */
  endGroup(): Record<SampleForm, number> {
    const sums = { cut24: this.#cut24 >>> 0, cut16: this.#cut16 >>> 0, rounded16: this.#rounded16 >>> 0 };
    this.#cut24 = this.#cut16 = this.#rounded16 = SEED;
    return sums;
  }

  /** Every bit that was set in any sample since the last call: 0 means that all samples were 0. */
  endBits(): number {
    const bits = this.#bits;
    this.#bits = 0;
    return bits;
  }
}

/** Collects checksums group by group. */
export class BlockChecksums {
  readonly #sums: Record<SampleForm, number[]> = { cut24: [], cut16: [], rounded16: [] };

  add(sums: Record<SampleForm, number>): void {
    for (const form of sampleForms) this.#sums[form].push(sums[form]);
  }

  end(): Record<SampleForm, Uint32Array> {
    return {
      cut24: Uint32Array.from(this.#sums.cut24),
      cut16: Uint32Array.from(this.#sums.cut16),
      rounded16: Uint32Array.from(this.#sums.rounded16),
    };
  }
}
