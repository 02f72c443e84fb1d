/** Audio that came through the recipe as it should is left alone, and is proved where it can be. */
import { describe, expect, test } from 'vitest';
import { further } from '../support/lane.ts';
import { comparedOnce, type Delivery, signals } from './audio-support.ts';

const SECOND = 48000;
type Case = Omit<Delivery, 'sourceSamples' | 'samples'> & {
  title: string;
  sourceSamples?: number;
  samples?: number;
  proves?: 'unproven' | 'silent';
};
/** Material that coders find hard; places in it are often not told. */
const awkward = (signal: keyof typeof signals): Omit<Case, 'title'> => ({
  codec: 'aac',
  container: 'mp4',
  signal: signals[signal],
  sourceSamples: 6 * SECOND,
  samples: 6 * SECOND,
  proves: 'unproven',
});
const of44100 = { sourceRate: 44100, sourceSamples: 6 * 44100 };
const cases: readonly Case[] = [
  { title: '24 bits', codec: 'pcm_s24le' },
  { title: '24 bits of a tone: equal samples settle it', codec: 'pcm_s24le', signal: signals.sine },
  { title: '16 bits of whole numbers, which are cut', codec: 'pcm_s16le' },
  { title: '16 bits of floating point, which is rounded', codec: 'pcm_s16le', sourceCodec: 'pcm_f32le' },
  { title: '24 bits, audio begins late', codec: 'pcm_s24le', offset: 1000 },
  { title: '16 bits, audio begins early', codec: 'pcm_s16le', offset: -70_000 },
  { title: '24 bits, source too short', codec: 'pcm_s24le', sourceSamples: 2 * SECOND },
  { title: '24 bits of one frame', codec: 'pcm_s24le', sourceSamples: 2002, samples: 2002 },
  { title: '24 bits of 44.1 kHz', codec: 'pcm_s24le', sourceRate: 44100, sourceSamples: 5 * 44100 },
  { title: 'AAC in MP4, one channel', codec: 'aac', container: 'mp4', channels: 1 },
  { title: 'AAC of six channels', codec: 'aac', channels: 6 },
  { title: 'AAC of noise', codec: 'aac', container: 'mp4', signal: signals.noise },
  { title: 'AAC of short ticks', codec: 'aac', signal: signals.tick, proves: 'unproven' },
  {
    title: 'AAC of a tone, which fits a period later too',
    codec: 'aac',
    signal: signals.sine,
    proves: 'unproven',
  },
  { title: 'AAC of next to nothing', codec: 'aac', signal: signals.hush, proves: 'silent' },
  { title: 'AAC, audio begins late', codec: 'aac', container: 'mp4', offset: 70_001 },
  {
    title: 'AAC of one frame',
    codec: 'aac',
    container: 'mp4',
    sourceSamples: 2002,
    samples: 2002,
    proves: 'unproven',
  },
  { title: 'AAC of white bursts at full scale', ...awkward('whiteBursts') },
  { title: 'AAC of tones that begin and end at once', ...awkward('keys') },
  ...further<Case>(
    { title: 'AAC of a square wave', ...awkward('square') },
    { title: 'AAC of a square wave of 44.1 kHz', ...awkward('square'), ...of44100 },
    { title: 'AAC of a square wave at full scale', ...awkward('fullSquare') },
    { title: 'AAC of clipped audio', ...awkward('clipped') },
    { title: 'AAC of single samples at full scale', ...awkward('clicks') },
    { title: 'AAC of silence, then full scale', ...awkward('silenceThenFull') },
    { title: 'AAC of silence, then full scale, of 44.1 kHz', ...awkward('silenceThenFull'), ...of44100 },
    { title: 'AAC of full scale, then silence', ...awkward('fullThenSilence') },
    { title: 'AAC of sweeps', ...awkward('sweeps') },
    { title: 'AAC of sweeps of 96 kHz', ...awkward('sweeps'), sourceRate: 96000, sourceSamples: 6 * 96000 },
    { title: 'AAC of a slate', ...awkward('slate') },
    { title: 'AAC of a slate of 44.1 kHz', ...awkward('slate'), ...of44100 },
    { title: 'AAC of drums', ...awkward('drums') },
    { title: 'AAC of noise in steps', ...awkward('noiseSteps') },
    { title: 'AAC of a tone, then noise', ...awkward('toneThenNoise') },
    { title: 'AAC of a tone, then noise, one channel', ...awkward('toneThenNoise'), channels: 1 },
    { title: 'AAC of a door in a quiet tone', ...awkward('door') },
    { title: 'AAC with one channel silent', ...awkward('oneSilent') },
    { title: 'AAC of pink noise', ...awkward('pink'), channels: 1 },
    { title: 'AAC of a twentieth of a second', ...awkward('speech'), sourceSamples: 2400, samples: 2400 },
    { title: '16 bits of 32', codec: 'pcm_s16le', sourceCodec: 'pcm_s32le' },
    { title: '24 bits of a compressed source', codec: 'pcm_s24le', sourceCodec: 'aac' },
    { title: '24 bits of six channels', codec: 'pcm_s24le', channels: 6 },
    {
      title: '24 bits of 96 kHz',
      codec: 'pcm_s24le',
      sourceRate: 96000,
      sourceSamples: 5 * 96000,
      signal: signals.noise,
    },
    { title: 'AAC in MOV', codec: 'aac' },
    { title: 'AAC of silence', codec: 'aac', signal: signals.silence, proves: 'silent' },
    { title: 'AAC, audio begins early', codec: 'aac', offset: -1001 },
    { title: 'AAC, source too long', codec: 'aac', container: 'mp4', sourceSamples: 9 * SECOND },
    { title: 'AAC of 44.1 kHz', codec: 'aac', sourceRate: 44100, sourceSamples: 5 * 44100 },
  ),
];

describe('audio as it should be has no difference', () => {
  const deliveries = cases.map(
    ({ title: _, proves: _proves, ...change }): Delivery => ({
      sourceSamples: 5 * SECOND,
      samples: 5 * SECOND,
      ...change,
    }),
  );
  const compared = comparedOnce(deliveries);

  test.each(cases.map((row, index) => ({ ...row, index })))('$title', ({ proves, index: row }) => {
    const [options, comparison] = [deliveries[row] as Delivery, compared(row)];
    expect(comparison.differences).toEqual([]);
    for (const [index, channel] of comparison.channels.entries()) {
      const saysNothing =
        proves !== undefined || (options.codec === 'aac' && options.channels === 6 && index === 3);
      if (!saysNothing)
        expect.soft([channel.start, channel.end], JSON.stringify(channel)).toEqual(['proved', 'proved']);
      if (proves === 'silent')
        expect.soft(channel).toMatchObject({ start: 'silent', end: 'silent', proved: 0 });
      if (options.signal === signals.sine && options.codec === 'aac')
        expect.soft(channel).toMatchObject({ start: 'unproven', end: 'unproven', proved: 0 });
      expect.soft(channel.failed).toBe(0);
    }
  });
});
