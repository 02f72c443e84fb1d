import type { FindingCode } from '../../findings/registry.ts';
import type { ChannelSummary, AudioDifference, AudioDifferenceKind } from '../../proof/audio-difference.ts';
import type { Check, CheckVerdict } from '../check.ts';

/** More would bury the first. */
const MAX_LISTED = 6;

const codes: Readonly<Record<AudioDifferenceKind, FindingCode>> = {
  channels: 'audio-differs',
  length: 'audio-differs',
  offset: 'audio-displaced',
  drift: 'audio-displaced',
  repeated: 'audio-displaced',
  'channels-swapped': 'audio-channels-wrong',
  'channel-silent': 'audio-altered',
  muted: 'audio-altered',
  'other-audio': 'audio-foreign',
  added: 'audio-foreign',
  level: 'audio-altered',
  inverted: 'audio-altered',
  error: 'audio-altered',
  'samples-differ': 'audio-altered',
};

function place(track: number, { channel, seconds }: AudioDifference): string {
  return `track ${track + 1}${channel === null ? '' : `, channel ${channel + 1}`}, ${seconds.toFixed(3)} s`;
}

function summary(track: number, channels: readonly ChannelSummary[]): string {
  const sum = (value: (channel: ChannelSummary) => number): number =>
    channels.reduce((total, channel) => total + value(channel), 0);
  const equal = channels.every((channel) => channel.equalSamples !== null)
    ? `, ${sum((channel) => channel.equalSamples ?? 0)} samples equal`
    : '';
  return `track ${track + 1}: ${sum((channel) => channel.proved)} of ${sum((channel) => channel.anchors)} places proved, ${sum((channel) => channel.silent)} silent, ${sum((channel) => channel.unproven)} not told${equal}`;
}

/** The audio is the source's, on its channels, in its place to a sample from start to end. */
export const audioMatch: Check = {
  name: 'audio-match',
  rests: ['decode', 'fingerprints'],
  run: ({ compared: { audioTracks }, outcome }) => {
    const expected =
      outcome.audio.length === 0 ? 'no audio' : 'the audio of the source, in its place to a sample';
    const measured: string[] = [];
    const faults: CheckVerdict['faults'][number][] = [];
    for (const [track, comparison] of audioTracks.entries()) {
      if (comparison === null) return null;
      measured.push(summary(track, comparison.channels));
      const reported = comparison.differences.slice(0, MAX_LISTED);
      faults.push(
        ...reported.map((difference) => ({
          code: codes[difference.kind],
          found: `${place(track, difference)}: ${difference.found}`,
          expected: difference.expected,
        })),
      );
    }
    return { measured: measured.join('; ') || 'no audio', expected, faults };
  },
};
