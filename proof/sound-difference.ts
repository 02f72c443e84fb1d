/** Words for what a comparison of sound found. */

const soundDifferenceKinds = [
  'channels',
  'length',
  'offset',
  'drift',
  'channels-swapped',
  'channel-silent',
  'muted',
  'repeated',
  'other-sound',
  'added',
  'level',
  'inverted',
  'samples-differ',
] as const;
/**
 * - channels, length: another number of channels, of samples
 * - offset: all of it later or earlier; drift: later or earlier from some place on
 * - channels-swapped: in another channel; channel-silent: nothing of the channel is left
 * - muted, repeated, added: a stretch is silent, is an earlier stretch once more, sounds where the source is silent
 * - other-sound: something else, throughout or for a stretch
 * - level, inverted: stronger or weaker, the other way round
 * - samples-differ: uncompressed samples differ, and none of the above says how
 */
export type SoundDifferenceKind = (typeof soundDifferenceKinds)[number];

export interface SoundDifference {
  readonly kind: SoundDifferenceKind;
  /** From 0; null for the whole track. */
  readonly channel: number | null;
  /** Where it begins, as nearly as is known: output samples from the picture's start, and the same in seconds. */
  readonly sample: number;
  readonly seconds: number;
  readonly found: string;
  readonly expected: string;
}

const soundProofs = ['proved', 'silent', 'untold', 'differs'] as const;
/** silent: the source holds no sound there. untold: what is there fits, but would fit elsewhere too. */
export type SoundProof = (typeof soundProofs)[number];

export interface ChannelSummary {
  /** Anchors that lie in the output; each is one of the following. */
  readonly anchors: number;
  readonly proved: number;
  readonly silent: number;
  readonly untold: number;
  readonly failed: number;
  /** First and last second of the source's sound in the output. */
  readonly start: SoundProof;
  readonly end: SoundProof;
  /** Samples of the source that were found equal, bit by bit, at their places (all of those compared, or fewer); null where equality cannot be asked for. */
  readonly equalSamples: number | null;
}

export interface SoundComparison {
  readonly differences: readonly SoundDifference[];
  /** One for each channel of the source; none when the number of channels differs. */
  readonly channels: readonly ChannelSummary[];
}
