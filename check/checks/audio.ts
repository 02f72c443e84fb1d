import { samplesByClip } from '../cadence.ts';
import { type Check, compare, type Line } from '../check.ts';

/** Tracks, and of each codec, rate, channels, layout, samples (counted) and start against the picture. */
export const audio: Check = {
  name: 'audio',
  rests: ['packets'],
  run: ({ measured: { facts }, outcome, source }) => {
    if (facts === null) return null;
    const lines: Line[] = [['tracks', facts.audio.length, outcome.audio.length]];
    for (const [index, wanted] of outcome.audio.entries()) {
      const found = facts.audio[index];
      if (found === undefined) continue;
      const near = Math.abs(found.samples - wanted.samples) <= wanted.tolerance;
      const allowed = `${wanted.samples}${wanted.tolerance === 0 ? '' : ` ± ${wanted.tolerance}`} samples`;
      const track = `track ${index + 1}`;
      lines.push(
        [track, found.codec, wanted.codec],
        [`${track}:`, `${found.sampleRate} Hz`, `${wanted.sampleRate} Hz`],
        [`${track}:`, `${found.channels} channels`, `${wanted.channels} channels`],
        [`${track}: layout`, found.layout, wanted.layout],
        [`${track}:`, near ? allowed : `${found.samples} samples`, allowed],
        [`${track}: starts at sample`, found.startOffset, 0],
      );
      // What keeps every sample is as long as it is; every other track lasts as long as the picture was recorded.
      if (source === null || outcome.exact !== null) continue;
      const heard = samplesByClip(source, outcome.cadence, found.sampleRate, facts.video.rate);
      const isHeard = Math.abs(found.samples - heard) <= wanted.tolerance;
      lines.push([`${track}: of the clip`, `${isHeard ? heard : found.samples} samples`, `${heard} samples`]);
    }
    if (outcome.cadence.offSpeed?.audio === 'leave-out')
      lines.push(['tracks of a clip that is played slower', facts.audio.length, 0]);
    return compare('audio-differs', lines);
  },
};
