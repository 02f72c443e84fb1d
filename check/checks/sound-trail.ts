import type { FindingCode } from '../../findings/registry.ts';
import type { ChannelSummary, SoundDifference, SoundDifferenceKind } from '../../proof/sound-difference.ts';
import type { Check, CheckVerdict } from '../check.ts';

/** More would bury the first. */
const TOLD = 6;

const codes: Readonly<Record<SoundDifferenceKind, FindingCode>> = {
  channels: 'sound-differs',
  length: 'sound-differs',
  offset: 'sound-displaced',
  drift: 'sound-displaced',
  repeated: 'sound-displaced',
  'channels-swapped': 'sound-channels-wrong',
  'channel-silent': 'sound-altered',
  muted: 'sound-altered',
  'other-sound': 'sound-foreign',
  added: 'sound-foreign',
  level: 'sound-altered',
  inverted: 'sound-altered',
  'samples-differ': 'sound-altered',
};

function place(track: number, { channel, seconds }: SoundDifference): string {
  return `track ${track + 1}${channel === null ? '' : `, channel ${channel + 1}`}, ${seconds.toFixed(3)} s`;
}

function summary(track: number, channels: readonly ChannelSummary[]): string {
  const sum = (value: (channel: ChannelSummary) => number): number =>
    channels.reduce((total, channel) => total + value(channel), 0);
  const equal = channels.every((channel) => channel.equalSamples !== null)
    ? `, ${sum((channel) => channel.equalSamples ?? 0)} samples equal`
    : '';
  return `track ${track + 1}: ${sum((channel) => channel.proved)} of ${sum((channel) => channel.anchors)} places proved, ${sum((channel) => channel.silent)} silent, ${sum((channel) => channel.untold)} not told${equal}`;
}

/** The sound is the source's, on its channels, in its place to a sample from start to end. */
export const soundTrail: Check = {
  name: 'sound-trail',
  rests: ['decode', 'trail'],
  run: ({ compared: { sounds }, outcome }) => {
    const expected =
      outcome.audio.length === 0 ? 'no sound' : 'the sound of the source, in its place to a sample';
    const measured: string[] = [];
    const faults: CheckVerdict['faults'][number][] = [];
    for (const [track, comparison] of sounds.entries()) {
      if (comparison === null) return null;
      measured.push(summary(track, comparison.channels));
      const told = comparison.differences.slice(0, TOLD);
      faults.push(
        ...told.map((difference) => ({
          code: codes[difference.kind],
          found: `${place(track, difference)}: ${difference.found}`,
          expected: difference.expected,
        })),
      );
    }
    return { measured: measured.join('; ') || 'no sound', expected, faults };
  },
};
