/** The energy of a difference, from sketches: what it must be, from the samples themselves. */
import { describe, expect, test } from 'vitest';
import { compareEnergy } from '../../proof/audio-energy.ts';
import {
  type AudioSketch,
  AudioSketcher,
  BUCKETS,
  chipsIn,
  packStretch,
  stretchesIn,
  unpackStretch,
} from '../../proof/audio-sketch.ts';
import { randomOf } from '../faults/random.ts';

const FULL = 2 ** 31;
const RATE = 48000;
/** A second of a tone at -20 dB with a little noise. */
const tone = (gain = 1, hertz = 500): Float64Array => {
  const { below } = randomOf('a tone');
  return Float64Array.from(
    { length: RATE },
    (_, n) =>
      FULL *
      (gain * 0.14 * Math.sin((2 * Math.PI * hertz * n) / RATE) + 0.001 * (below(65_536) / 65_536 - 0.5)),
  );
};

function sketched(samples: Float64Array, { first = 0, rate = RATE, chips = Number.POSITIVE_INFINITY } = {}) {
  const sketcher = new AudioSketcher({ sourceRate: RATE, sampleRate: rate, first, chips });
  for (const value of samples) sketcher.take(value);
  return sketcher.end();
}

const energyOf = (sketch: AudioSketch): number => sketch.reduce((sum, value) => sum + value * value, 0);

describe('a sketch of audio', () => {
  test('its squares add up to the energy of what was sketched, within what 320 random sums allow', () => {
    const { below } = randomOf('noise');
    const chips = Float64Array.from({ length: 8000 }, () => FULL * (below(65_536) / 65_536 - 0.5));
    const samples = Float64Array.from({ length: RATE }, (_, n) => chips[Math.floor(n / 6)] as number);
    const ratio = energyOf(sketched(samples)) / energyOf(chips);
    // sqrt(2 / 320) = 0.08 is one standard deviation (Alon, Matias, Szegedy 1996).
    expect(ratio).toBeGreaterThan(0.7);
    expect(ratio).toBeLessThan(1.3);
  });

  test.each([
    [RATE, 10, 8000],
    [4800 + 5, 1, 800],
    [4800 + 6, 2, 801],
    [5, 0, 0],
  ])('of %i samples has %i stretches, %i chips', (samples, stretches, chips) => {
    expect(sketched(new Float64Array(samples)).length).toBe(stretches * BUCKETS);
    expect([chipsIn(samples, RATE), stretchesIn(samples, RATE)]).toEqual([chips, stretches]);
  });

  test.each([8000, 22_050, 44_100, 96_000, 11_025])('counts the chips that it makes at %i Hz', (rate) => {
    for (const samples of [rate, rate + 1, 3 * rate - 1, 7 * rate + 13]) {
      const sketcher = new AudioSketcher({
        sourceRate: rate,
        sampleRate: rate,
        first: 0,
        chips: Number.POSITIVE_INFINITY,
      });
      for (let n = 0; n < samples; n += 1) sketcher.take(1);
      expect(sketcher.end().length).toBe(stretchesIn(samples, rate) * BUCKETS);
    }
  });

  test('comes back from 16 bits within half a step of the largest', () => {
    const sums = Float64Array.from({ length: BUCKETS }, (_, n) => (n - 11) * 123_456_789.25);
    const packed = packStretch(sums);
    expect([...packed.mantissas].some((value) => Math.abs(value) > 16_383)).toBe(true);
    unpackStretch(packed).forEach((value, n) => {
      expect(Math.abs(value - (sums[n] as number))).toBeLessThanOrEqual(2 ** (packed.exponent - 1));
    });
  });
});

/** A tone at -20 dB all the time: 254 + 2 · dBFS of its root mean square, 0.14 / sqrt(2). */
const surroundings = {
  levels: new Uint8Array(50).fill(214),
  peaks: new Float32Array(50).fill(0.14),
  sourceRate: RATE,
  sampleRate: RATE,
};
const compared = (source: AudioSketch, heard: AudioSketch) => compareEnergy(source, heard, surroundings);

describe('two sketches', () => {
  const plain = tone();
  const source = sketched(plain);

  test('of the same audio differ in nothing', () => {
    expect(compared(source, sketched(tone()))).toEqual({ gain: 0, isOtherLevel: false, excesses: [] });
  });

  test.each([-0.2, 0.2, -3, 6])('tell a level that is off by %f dB', (decibels) => {
    const verdict = compared(source, sketched(tone(10 ** (decibels / 20))));
    expect(verdict?.isOtherLevel).toBe(true);
    expect(verdict?.gain).toBeCloseTo(decibels, 1);
  });

  test('a tenth of a decibel may be a coder', () => {
    expect(compared(source, sketched(tone(10 ** (-0.1 / 20))))?.isOtherLevel).toBe(false);
  });

  test('name the stretch that has something else in it', () => {
    const spoiled = tone();
    for (let n = 4800 * 3; n < 4800 * 4; n += 1) spoiled[n] = (spoiled[n] as number) * 0.7;
    const verdict = compared(source, sketched(spoiled));
    expect(verdict?.excesses).toHaveLength(1);
    expect(verdict?.excesses[0]).toMatchObject({ from: 3, to: 4 });
    // 0.3 of the amplitude: 20 log10(0.3) = -10.5 dB.
    expect(verdict?.excesses[0]?.decibels).toBeCloseTo(-10.5, 0);
  });

  test('a tone of which the encoder lowers what goes above 0.95 of full scale is at its level, and 2 dB less is not', () => {
    const limited = { ...surroundings, peaks: new Float32Array(50).fill(0.95) };
    const at = (decibels: number) =>
      compareEnergy(source, sketched(tone(10 ** (decibels / 20))), limited)?.isOtherLevel;
    // 0.95 of full scale: 20 log10(0.95) = -0.45 dB.
    expect([at(-0.45), at(-2), at(0.3)]).toEqual([false, true, true]);
  });

  test('a loss beside audio that is loud is a frame of it, spread; alone it is an error', () => {
    const loudBehind = { ...surroundings, levels: new Uint8Array(50).fill(214).fill(250, 20, 21) };
    const spoiled = tone();
    for (let n = 4800 * 3; n < 4800 * 4; n += 1) spoiled[n] = (spoiled[n] as number) * 0.6;
    expect(compared(source, sketched(spoiled))?.excesses).toHaveLength(1);
    expect(compareEnergy(source, sketched(spoiled), loudBehind)?.excesses).toEqual([]);
    // 4 blocks further it is out of a frame's reach.
    const far = { ...surroundings, levels: new Uint8Array(50).fill(214).fill(250, 24, 25) };
    expect(compareEnergy(source, sketched(spoiled), far)?.excesses).toHaveLength(1);
  });

  test('at another rate, or from a place within, are of the same times', () => {
    const chips = chipsIn(RATE, RATE);
    const twice = Float64Array.from({ length: 2 * RATE }, (_, n) => plain[n >> 1] as number);
    const doubled = sketched(twice, { rate: 2 * RATE, chips, first: -0.25 });
    expect(compared(source, doubled)).toMatchObject({ isOtherLevel: false, excesses: [] });
    const late = sketched(tone().subarray(3000), { chips, first: 3000 });
    expect(Number.isNaN(late[0] as number)).toBe(true);
    expect(compared(source, late)).toMatchObject({ isOtherLevel: false, excesses: [] });
  });

  test('audio that lasts on behind the source is not counted', () => {
    const chips = chipsIn(RATE, RATE);
    const longer = Float64Array.from({ length: RATE + 9000 }, (_, n) => plain[n % RATE] as number);
    expect(sketched(longer, { chips })).toEqual(source);
  });
});
