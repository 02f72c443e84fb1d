/**
 * The energy of the difference between two tracks of audio, from a few numbers kept of each.
 *
 * Of the audio in the band that coders keep (audio-meter.ts) the mean of every 1/8000 s, a chip, is added to one of 32 buckets with a random
 * sign; a stretch of 100 ms has 800 chips. Such sums are linear: those of two tracks, subtracted, are those of their difference, and the
 * sum of their squares is its energy, within sqrt(2 / 32) of it (one standard deviation). Alon, Matias, Szegedy 1996, "The space
 * complexity of approximating the frequency moments"; Charikar, Chen, Farach-Colton 2002, "Finding frequent items in data streams".
 */

const CHIPS_A_SECOND = 8000;
export const CHIPS_A_STRETCH = 800;
export const STRETCH_SECONDS = CHIPS_A_STRETCH / CHIPS_A_SECOND;
export const BUCKETS = 32;
const BUCKET_MASK = BUCKETS - 1;
/** Chips are counted in sums of fractions: what lies nearer to a chip's end than this is its end. */
const NEAR = 1e-9;
/** Largest mantissa of a number that is kept. */
const LARGEST = 32767;

/** Sums of the buckets, stretch after stretch; what was not heard whole is NaN. */
export type AudioSketch = Float64Array;

/** Of every chip +1 or -1, the same for all time: bits of an integer hash (Murmur3's finaliser) over its number. */
function signOf(chip: number): 1 | -1 {
  let bits = Math.imul(chip ^ (chip >>> 16), 0x85ebca6b);
  bits = Math.imul(bits ^ (bits >>> 13), 0xc2b2ae35);
  return ((bits ^ (bits >>> 16)) & 1) === 0 ? 1 : -1;
}

/** Whole chips in a part of a track, samples. */
export function chipsIn(samples: number, sampleRate: number): number {
  return Math.floor((samples * CHIPS_A_SECOND) / sampleRate + NEAR);
}

export function stretchesIn(samples: number, sampleRate: number): number {
  return Math.ceil(chipsIn(samples, sampleRate) / CHIPS_A_STRETCH);
}

export interface SketchPlace {
  /** Hertz of the source. */
  readonly sourceRate: number;
  /** Hertz of what is sketched. */
  readonly sampleRate: number;
  /** Where the first sample lies, in samples of the source from the first one of its used part; fractions allowed. */
  readonly first: number;
  /** Chips of the source; all that comes behind them is left out. Infinity: not known yet. */
  readonly chips: number;
}

/** Takes one channel's audio, sample by sample. */
export class AudioSketcher {
  /** Widths are in samples of the source: of a chip, of a sample, of what is left of the chip that runs. */
  readonly #chipWidth: number;
  readonly #width: number;
  readonly #chips: number;
  #room: number;
  #chip: number;
  #sum = 0;
  #buckets = new Float64Array(BUCKETS);
  /** Whether the stretch that runs has been heard from its beginning. */
  #isWhole: boolean;
  readonly #stretches: number[] = [];

  constructor({ sourceRate, sampleRate, first, chips }: SketchPlace) {
    this.#chipWidth = sourceRate / CHIPS_A_SECOND;
    this.#width = sourceRate / sampleRate;
    this.#chips = chips;
    // A sample is taken to last from half before it to half behind it, at either rate.
    const begin = first - this.#width / 2 + 0.5;
    this.#chip = Math.floor(begin / this.#chipWidth + NEAR);
    this.#room = this.#chipWidth * (this.#chip + 1) - begin;
    // At another rate the first sample may begin, and the last one end, within the source's.
    this.#isWhole = begin < Math.max(1, this.#width);
    const missed = Math.max(0, Math.floor(this.#chip / CHIPS_A_STRETCH));
    for (let index = 0; index < missed * BUCKETS; index += 1) this.#stretches.push(Number.NaN);
  }

  take(value: number): void {
    this.#room -= this.#width;
    if (this.#room > NEAR) {
      this.#sum += this.#width * value;
      return;
    }
    let rest = Math.max(0, -this.#room);
    this.#endChip(this.#sum + (this.#width - rest) * value);
    while (rest >= this.#chipWidth) {
      this.#endChip(this.#chipWidth * value);
      rest -= this.#chipWidth;
    }
    this.#sum = rest * value;
    this.#room = this.#chipWidth - rest;
  }

  #endChip(sum: number): void {
    const chip = this.#chip++;
    if (chip < 0 || chip >= this.#chips) return;
    const bucket = chip & BUCKET_MASK;
    this.#buckets[bucket] = (this.#buckets[bucket] as number) + (signOf(chip) * sum) / this.#chipWidth;
    if ((chip + 1) % CHIPS_A_STRETCH === 0 || chip + 1 === this.#chips) this.#endStretch();
  }

  #endStretch(): void {
    const kept = unpackStretch(packStretch(this.#buckets));
    for (const sum of kept) this.#stretches.push(this.#isWhole ? sum : Number.NaN);
    this.#buckets.fill(0);
    this.#isWhole = true;
  }

  /** What was heard, in the precision that is kept. Of a source the last stretch may be a part of one. */
  end(): AudioSketch {
    if (this.#chips === Number.POSITIVE_INFINITY) {
      if (this.#chip % CHIPS_A_STRETCH > 0) this.#endStretch();
    } else if (this.#chip === this.#chips - 1 && this.#room < Math.max(1, this.#width))
      this.#endChip(this.#sum);
    return Float64Array.from(this.#stretches);
  }
}

/** Of one stretch as it is kept: numbers of 16 bits, times 2 to the power of `exponent`. */
export interface PackedStretch {
  readonly exponent: number;
  readonly mantissas: Int16Array;
}

/** The smallest exponent from 0 on that holds all of them: samples are whole numbers of 32 bits, and parts of such are nothing. */
export function packStretch(sums: Float64Array): PackedStretch {
  const largest = sums.reduce((most, sum) => Math.max(most, Math.abs(sum)), 0);
  let exponent = 0;
  while (Math.round(largest / 2 ** exponent) > LARGEST) exponent += 1;
  return { exponent, mantissas: Int16Array.from(sums, (sum) => Math.round(sum / 2 ** exponent)) };
}

export function unpackStretch({ exponent, mantissas }: PackedStretch): Float64Array {
  return Float64Array.from(mantissas, (mantissa) => mantissa * 2 ** exponent);
}
