/** Audio spoiled on its way into a real file, in known ways, is found out, with the right word. */
import { describe, expect, test } from 'vitest';
import type { AudioDifferenceKind } from '../../proof/audio-difference.ts';
import { everyRow } from '../support/lane.ts';
import { type AudioCodec, audioCodecs, comparedOnce, type Delivery, signals } from './audio-support.ts';

const SAMPLES = 6 * 48000;
/** Ends at `cut`, goes on at `on`. */
const spliced = (cut: number, on: number): string =>
  `asplit[a][b];[a]atrim=end_sample=${cut}[x];[b]atrim=start_sample=${on},asetpts=N/SR/TB[y];[x][y]concat=v=0:a=1`;
/** The second before 3 s once more in the place of the second after it. */
const again =
  'asplit=3[a][b][c];[a]atrim=end_sample=144000[x];[b]atrim=start_sample=96000:end_sample=144000,asetpts=N/SR/TB[y];[c]atrim=start_sample=192000,asetpts=N/SR/TB[z];[x][y][z]concat=n=3:v=0:a=1';

const faults: readonly {
  fault: string;
  change: Partial<Delivery>;
  kinds: readonly AudioDifferenceKind[];
  channels: readonly number[];
  found?: RegExp;
}[] = [
  {
    fault: 'late by 1 ms',
    change: { spoil: 'adelay=delays=48S:all=1' },
    kinds: ['offset'],
    channels: [0, 1],
    found: /^4[78](\.\d+)? samples late$/,
  },
  {
    fault: 'early by 1 ms',
    change: { spoil: 'atrim=start_sample=48,asetpts=N/SR/TB' },
    kinds: ['offset'],
    channels: [0, 1],
    found: /^4[78](\.\d+)? samples early$/,
  },
  {
    fault: 'late by 2 samples',
    change: { spoil: 'adelay=delays=2S:all=1' },
    kinds: ['offset'],
    channels: [0, 1],
    found: /^(2|[12]\.\d+) samples late$/,
  },
  {
    fault: 'late by a second',
    change: { spoil: 'adelay=delays=48000S:all=1' },
    kinds: ['offset'],
    channels: [0, 1],
    found: /^about (0\.9[89]|1\.0[012]) s late$/,
  },
  {
    fault: 'two samples dropped in the middle',
    change: { spoil: spliced(140000, 140002) },
    kinds: ['drift'],
    channels: [0, 1],
    found: /^(2|[12]\.\d+) samples early$/,
  },
  {
    fault: '48 samples doubled in the middle',
    change: { spoil: spliced(140000, 139952) },
    kinds: ['drift'],
    channels: [0, 1],
    found: /^4[78](\.\d+)? samples late$/,
  },
  {
    fault: 'channels swapped',
    change: { spoil: 'pan=stereo|c0=c1|c1=c0' },
    kinds: ['channels-swapped'],
    channels: [0, 1],
    found: /^in channel [12]$/,
  },
  {
    fault: 'a channel silent',
    change: { spoil: 'pan=stereo|c0=c0|c1=0*c1' },
    kinds: ['channel-silent'],
    channels: [1],
  },
  {
    fault: 'a channel in both places',
    change: { spoil: 'pan=stereo|c0=c0|c1=c0' },
    kinds: ['other-audio'],
    channels: [1],
  },
  { fault: 'another track', change: { instead: signals.bells }, kinds: ['other-audio'], channels: [0, 1] },
  {
    fault: 'noise of another take',
    change: { signal: signals.noise, instead: signals.otherNoise },
    kinds: ['other-audio'],
    channels: [0, 1],
  },
  {
    fault: 'weaker by 1.5 dB',
    change: { spoil: 'volume=-1.5dB' },
    kinds: ['level'],
    channels: [0, 1],
    found: /^-1\.[45678]\d dB$/,
  },
  {
    fault: 'stronger by 2 dB',
    change: { spoil: 'volume=2dB' },
    kinds: ['level'],
    channels: [0, 1],
    found: /^\+(1\.[89]|2\.[01])\d dB$/,
  },
  {
    fault: 'inverted',
    change: { spoil: 'pan=stereo|c0=-1*c0|c1=-1*c1' },
    kinds: ['inverted'],
    channels: [0, 1],
  },
  {
    fault: 'muted for 0.4 s',
    change: { signal: signals.noise, spoil: "volume=0:enable='between(t,2.1,2.5)'" },
    kinds: ['muted'],
    channels: [0, 1],
    found: /^silence from 2\.1[02468] to 2\.[45]\d s$/,
  },
  {
    fault: 'a second repeated',
    change: { spoil: again },
    kinds: ['repeated'],
    channels: [0, 1],
    found: /^the audio of (0\.98|1\.00|1\.02) s earlier/,
  },
];

/**
 * In 16 bits one fault of each kind that samples alone tell: they differ from 24 bits in their precision alone. The long lane
 * has every fault in every codec.
 */
const in16Bits = new Set(['late by 1 ms']);

/** Of each kind that is told by whole samples one in 24 bits; the others in AAC, which keeps less of a signal, and in the long lane in every codec. */
const in24Bits = new Set([
  'late by 1 ms',
  'two samples dropped in the middle',
  'channels swapped',
  'a channel silent',
  'another track',
  'weaker by 1.5 dB',
]);
/** In AAC too, but each of them beside another fault of its kind. */
const onlyLongInAac = new Set(['two samples dropped in the middle', 'another track', 'stronger by 2 dB']);
const isQuick = (codec: AudioCodec, fault: string): boolean =>
  codec === 'aac' ? !onlyLongInAac.has(fault) : (codec === 'pcm_s16le' ? in16Bits : in24Bits).has(fault);

const whole = (codec: AudioCodec, change: Partial<Delivery>): Delivery => ({
  codec,
  container: codec === 'aac' ? 'mp4' : 'mov',
  sourceSamples: SAMPLES,
  samples: SAMPLES,
  ...change,
});

describe.each(audioCodecs)('in %s', (codec) => {
  const rows = faults.filter(({ fault }) => everyRow || isQuick(codec, fault));
  const compared = comparedOnce(rows.map(({ change }) => whole(codec, change)));

  test.each(rows.map((row, index) => ({ ...row, index })))(
    'audio $fault is found',
    ({ kinds, channels, found, index }) => {
      const comparison = compared(index);
      expect
        .soft(
          [...new Set(comparison.differences.map(({ kind }) => kind))],
          JSON.stringify(comparison, null, 1),
        )
        .toEqual(kinds);
      expect.soft([...new Set(comparison.differences.map(({ channel }) => channel))]).toEqual(channels);
      if (found !== undefined)
        for (const difference of comparison.differences) expect.soft(difference.found).toMatch(found);
    },
  );
});

/** What anchors and levels of blocks do not see; in uncompressed audio checksums do. */
const fine: readonly {
  fault: string;
  change: Partial<Delivery>;
  kind: AudioDifferenceKind;
  found: RegExp;
}[] = [
  {
    fault: 'weaker by 0.2 dB',
    change: { spoil: 'volume=-0.2dB' },
    kind: 'level',
    found: /^-0\.(19|2\d) dB$/,
  },
  {
    fault: 'a slate of 44.1 kHz, weaker by 4 dB',
    change: {
      ...{ sourceRate: 44100, sourceSamples: 6 * 44100 },
      ...{ signal: signals.slate, spoil: 'volume=-4dB' },
    },
    kind: 'level',
    found: /^-[345]\.\d\d dB/,
  },
  {
    fault: 'a drop-out of 20 ms',
    change: { signal: signals.bells, spoil: "volume=0:enable='between(t,2.06,2.08)'" },
    kind: 'error',
    found: /^a difference of -\d dB from the source, 2\.0 to 2\.1 s/,
  },
  {
    fault: 'inverted for 20 ms',
    change: {
      signal: signals.noise,
      spoil: "volume=-1:eval=frame:enable='between(t,2.1,2.12)'",
    },
    kind: 'error',
    found: /from the source, 2\.[01] to 2\.\d s/,
  },
  {
    fault: 'a click of 21 samples',
    change: {
      signal: signals.bells,
      spoil: 'aeval=val(0)+0.4*between(n\\,100000\\,100020)|val(1)+0.4*between(n\\,100000\\,100020):c=same',
    },
    kind: 'error',
    found: /from the source, 2\.0 to 2\.1 s/,
  },
  {
    fault: 'hum of 50 Hz at -34 dB of full scale',
    change: {
      signal: signals.bells,
      spoil: 'aeval=val(0)+0.028*sin(2*PI*50*t)|val(1)+0.028*sin(2*PI*50*t):c=same',
    },
    kind: 'other-audio',
    found: /^other levels/,
  },
];

describe('in AAC, by its energy', () => {
  const compared = comparedOnce(fine.map(({ change }) => whole('aac', change)));

  test.each(fine.map((row, index) => ({ ...row, index })))(
    'audio with $fault is found',
    ({ kind, found, index }) => {
      const comparison = compared(index);
      expect(
        [...new Set(comparison.differences.map((difference) => difference.kind))],
        JSON.stringify(comparison, null, 1),
      ).toEqual([kind]);
      for (const difference of comparison.differences) expect.soft(difference.found).toMatch(found);
    },
  );
});
