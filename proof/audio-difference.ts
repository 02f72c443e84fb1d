/** Words for what a comparison of audio found. */

const audioDifferenceKinds = [
  'channels',
  'length',
  'offset',
  'drift',
  'channels-swapped',
  'channel-silent',
  'muted',
  'repeated',
  'other-audio',
  'added',
  'level',
  'inverted',
  'error',
  'samples-differ',
] as const;
/**
 * - channels, length: another number of channels, of samples
 * - offset: all of it later or earlier; drift: later or earlier from some place on
 * - channels-swapped: in another channel; channel-silent: nothing of the channel is left
 * - muted, repeated, added: a stretch is silent, is an earlier stretch once more, sounds where the source is silent
 * - other-audio: something else, throughout or for a stretch
 * - level, inverted: stronger or weaker, the other way round
 * - error: for a stretch the difference from the source is more than a coder's loss
 * - samples-differ: uncompressed samples differ, and none of the above says how
 */
export type AudioDifferenceKind = (typeof audioDifferenceKinds)[number];

export interface AudioDifference {
  readonly kind: AudioDifferenceKind;
  /** From 0; null for the whole track. */
  readonly channel: number | null;
  /** Where it begins, as nearly as is known: output samples from the picture's start, and the same in seconds. */
  readonly sample: number;
  readonly seconds: number;
  readonly found: string;
  readonly expected: string;
}

const audioProofs = ['proved', 'silent', 'unproven', 'differs'] as const;
/** silent: the source holds no audio there. unproven: what is there fits, but would fit elsewhere too. */
export type AudioProof = (typeof audioProofs)[number];

export interface ChannelSummary {
  /** Anchors that lie in the output; each is one of the following. */
  readonly anchors: number;
  readonly proved: number;
  readonly silent: number;
  readonly unproven: number;
  readonly failed: number;
  /** First and last second of the source's audio in the output. */
  readonly start: AudioProof;
  readonly end: AudioProof;
  /** Samples of the source that were found equal, bit by bit, at their places (all of those compared, or fewer); null where equality cannot be asked for. */
  readonly equalSamples: number | null;
}

export interface AudioComparison {
  readonly differences: readonly AudioDifference[];
  /** One for each channel of the source; none when the number of channels differs. */
  readonly channels: readonly ChannelSummary[];
}
