/** Compares what was heard of a deliverable with the fingerprints of its source: differences as data, and how much was proved. */
import { append } from '../findings/append.ts';
import { ChannelComparison } from './audio-channel.ts';
import type {
  AudioComparison,
  AudioDifference,
  AudioDifferenceKind,
  ChannelSummary,
} from './audio-difference.ts';
import type { AudioFingerprint } from './audio-fingerprint.ts';
import type { HeardAudio } from './audio-listener.ts';
import type { ExpectedAudio } from './audio-plan.ts';

function wholeTrack(source: AudioFingerprint, heard: HeardAudio, expected: ExpectedAudio): AudioDifference[] {
  const differences: AudioDifference[] = [];
  const differ = (kind: AudioDifferenceKind, found: string, wanted: string, sample = 0): void => {
    differences.push({
      kind,
      channel: null,
      sample,
      seconds: sample / heard.sampleRate,
      found,
      expected: wanted,
    });
  };
  if (heard.channels.length !== source.channels.length)
    differ('channels', `${heard.channels.length} channels`, `${source.channels.length} channels`);
  const tolerance = expected.tolerance ?? 0;
  if (Math.abs(heard.samples - expected.samples) > tolerance) {
    differ(
      'length',
      `${heard.samples} samples`,
      `${expected.samples}${tolerance === 0 ? '' : ` ± ${tolerance}`} samples`,
      Math.min(heard.samples, expected.samples),
    );
  }
  return differences;
}

/** `heard` must have been listened to with the same `source` and `expected`. Throws RangeError for a precision where the rates differ. */
export function compareAudio(
  source: AudioFingerprint,
  heard: HeardAudio,
  expected: ExpectedAudio,
): AudioComparison {
  if (expected.precision !== null && heard.sampleRate !== source.sampleRate)
    throw new RangeError(`samples at ${heard.sampleRate} Hz cannot equal samples at ${source.sampleRate} Hz`);
  const differences = wholeTrack(source, heard, expected);
  if (heard.channels.length !== source.channels.length) return { differences, channels: [] };
  const channels: ChannelSummary[] = [];
  for (const channel of source.channels.keys()) {
    const comparison = new ChannelComparison(source, heard, expected, channel);
    const equality = comparison.equality();
    const isEqual = equality !== null && equality.compared > 0 && equality.differing.length === 0;
    const anchors = comparison.anchors(isEqual);
    if (!isEqual) comparison.explain(anchors);
    if (equality !== null) comparison.explainSamples(equality.byChance ? [] : equality.differing);
    append(differences, comparison.differences);
    channels.push(
      comparison.summary(
        anchors,
        equality === null ? null : comparison.samplesIn(equality.compared - equality.differing.length),
        isEqual,
      ),
    );
  }
  // What lies in a channel that others were swapped into is said already.
  const swapped = differences.some(({ kind }) => kind === 'channels-swapped');
  return {
    differences: swapped ? differences.filter(({ kind }) => kind !== 'added') : differences,
    channels,
  };
}
