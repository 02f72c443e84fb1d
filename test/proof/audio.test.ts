/** The fingerprints of audio: its content, its bytes, and what a comparison says of signals that are known by construction. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { readAudioFingerprint, audioFingerprintBytes } from '../../proof/audio-bytes.ts';
import { AudioCollector } from '../../proof/audio-collector.ts';
import { correlations } from '../../proof/audio-correlate.ts';
import { type ExpectedAudio, heardAt, lowFrequencyChannel, usedPart } from '../../proof/audio-plan.ts';
import { decibelsOf } from '../../proof/audio-fingerprint.ts';
import '../support/properties.ts';
import { compared, fingerprintsOf } from './audio-support.ts';

/** Numbers of a small generator (Numerical Recipes' 32-bit constants), -1 to 1. */
function noise(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  };
}

/** Interleaved samples of 24 bits in 32. */
function pcmOf(frames: number, ...channels: ((index: number) => number)[]): Buffer {
  const pcm = Buffer.alloc(frames * channels.length * 4);
  for (let frame = 0, at = 0; frame < frames; frame++)
    for (const channel of channels)
      at = pcm.writeInt32LE(Math.round(channel(frame) * (2 ** 23 - 1)) * 256, at);
  return pcm;
}

const RATE = 48000;
const exact = (samples: number, change: Partial<ExpectedAudio> = {}): ExpectedAudio => ({
  offset: 0,
  samples,
  precision: 24,
  ...change,
});

describe('fingerprints', () => {
  test('is the same however its audio is cut into chunks, and comes back from its bytes', () => {
    const form = fc.record({
      channels: fc.integer({ min: 1, max: 3 }),
      sampleRate: fc.constantFrom(100, 997, 8000),
    });
    fc.assert(
      fc.property(
        form,
        fc.integer({ min: 0, max: 4000 }),
        fc.integer(),
        fc.array(fc.integer({ min: 1, max: 5000 }), { minLength: 1, maxLength: 8 }),
        fc.boolean(),
        ({ channels, sampleRate }, frames, seed, sizes, coarse) => {
          const next = noise(seed);
          const pcm = pcmOf(
            frames,
            ...Array.from(
              { length: channels },
              () => () => (coarse ? Math.round(next() * 3) / 4 : next() * 0.9),
            ),
          );
          const whole = fingerprintsOf(pcm, channels, sampleRate);
          const collector = new AudioCollector({ channels, sampleRate });
          for (let at = 0, turn = 0; at < pcm.length; turn++) {
            const size = sizes[turn % sizes.length] as number;
            collector.take(pcm.subarray(at, at + size));
            at += size;
          }
          const bytes = audioFingerprintBytes(collector.end());
          expect(bytes.equals(audioFingerprintBytes(whole))).toBe(true);
          expect(readAudioFingerprint(bytes)).toEqual(whole);
        },
      ),
      { numRuns: 60 },
    );
  });

  test('counts all samples and holds the used part', () => {
    const fingerprints = fingerprintsOf(
      pcmOf(5000, () => 0.5),
      1,
      RATE,
      { start: 1000, end: 4000 },
    );
    expect(fingerprints).toMatchObject({ samples: 5000, start: 1000, end: 4000 });
    expect(fingerprints.channels[0]?.levels.length).toBe(4);
    expect(
      fingerprintsOf(
        pcmOf(500, () => 0.5),
        1,
        RATE,
        { start: 1000, end: 4000 },
      ),
    ).toMatchObject({ samples: 500, start: 1000, end: 1000 });
  });

  test('holds the level of a tone in decibels below full scale', () => {
    const fingerprints = fingerprintsOf(
      pcmOf(RATE, (n) => 0.1 * Math.SQRT2 * Math.sin((2 * Math.PI * 1000 * n) / RATE)),
      1,
      RATE,
    );
    // A root mean square of a tenth is -20 dB.
    expect(decibelsOf(fingerprints.channels[0]?.levels[25] as number)).toBe(-20);
    expect(
      fingerprintsOf(
        pcmOf(960, () => 0),
        1,
        RATE,
      ).channels[0]?.levels,
    ).toEqual(Uint8Array.of(0));
  });

  test('anchors lie where there is audio: in the first second, in each interval, in the last second, and none in silence', () => {
    const clicks = new Map([
      [20 * 960 + 400, 0.5],
      [400 * 960 + 400, 0.4],
      [1130 * 960 + 500, 0.6],
    ]);
    const fingerprints = fingerprintsOf(
      pcmOf(
        1150 * 960,
        (n) => clicks.get(n) ?? 0,
        () => 0,
      ),
      2,
      RATE,
    );
    expect(fingerprints.channels.map(({ anchors }) => anchors.map(({ block }) => block))).toEqual([
      [20, 400, 1130],
      [],
    ]);
    expect(fingerprints.channels[0]?.anchors[0]?.samples[400]).toBe(Math.round(0.5 * (2 ** 23 - 1)) * 256);
  });

  test('of fifteen minutes of stereo is below 1.8 MB', () => {
    const next = noise(5);
    const second = pcmOf(RATE, next, next);
    const collector = new AudioCollector({ channels: 2, sampleRate: RATE });
    for (let count = 0; count < 900; count++) collector.take(second);
    const bytes = audioFingerprintBytes(collector.end());
    expect(bytes.length).toBeGreaterThan(1_600_000);
    expect(bytes.length).toBeLessThan(1_800_000);
  });

  test('audio that ends within a sample frame is refused', () => {
    const collector = new AudioCollector({ channels: 2, sampleRate: RATE });
    collector.take(Buffer.alloc(12));
    expect(() => collector.end()).toThrow(RangeError);
  });

  test.each([
    [0, RATE],
    [256, RATE],
    [1.5, RATE],
    [2, 0],
    [2, 1.5],
  ])('a form of %s channels at %s Hz is refused', (channels, sampleRate) => {
    expect(() => new AudioCollector({ channels, sampleRate })).toThrow(RangeError);
  });

  test('bytes that are cut, longer, or changed are refused or read as something else, never as the same', () => {
    const bytes = audioFingerprintBytes(fingerprintsOf(pcmOf(3000, noise(3)), 1, RATE));
    const fingerprints = readAudioFingerprint(bytes);
    fc.assert(
      fc.property(fc.integer({ min: 0, max: bytes.length - 1 }), (length) => {
        expect(() => readAudioFingerprint(bytes.subarray(0, length))).toThrow(RangeError);
      }),
      { numRuns: 100 },
    );
    expect(() => readAudioFingerprint(Buffer.concat([bytes, Buffer.alloc(1)]))).toThrow(RangeError);
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: bytes.length - 1 }),
        fc.integer({ min: 1, max: 255 }),
        (at, flip) => {
          const changed = Buffer.from(bytes);
          changed[at] = (changed[at] as number) ^ flip;
          let read: unknown;
          try {
            read = readAudioFingerprint(changed);
          } catch (error) {
            expect(error).toBeInstanceOf(RangeError);
            return;
          }
          expect(read).not.toEqual(fingerprints);
        },
      ),
      { numRuns: 200 },
    );
  });
});

describe('places', () => {
  test.each([
    [0, 48000, 48000, 0, 0],
    [100, 48000, 48000, -30, 70],
    [44100, 44100, 48000, 0, 48000],
    [1, 44100, 48000, 0, 1],
    [96001, 96000, 48000, 0, 48001],
    [0, 44100, 48000, -441, -480],
  ])('source sample %i of %i Hz at %i Hz, offset %i, is heard at %i', (position, from, to, offset, place) => {
    expect(heardAt(position, { sampleRate: from }, to, offset)).toBe(place);
  });

  test('the used part is what the picture has time for', () => {
    expect(usedPart(48000, 48000, { offset: -100, samples: 2002 })).toEqual({ start: 100, end: 2102 });
    expect(usedPart(48000, 48000, { offset: 500, samples: 2002 })).toEqual({ start: 0, end: 1502 });
    expect(usedPart(48000, 48000, { offset: 5000, samples: 2002 })).toEqual({ start: 0, end: 0 });
    expect(usedPart(44100, 48000, { offset: 0, samples: 48000 })).toEqual({ start: 0, end: 44100 });
  });

  test.each([
    ['5.1', 3],
    ['5.1(side)', 3],
    ['7.1', 3],
    ['2.1', 2],
    ['stereo', null],
    ['mono', null],
    ['5.0', null],
    [null, null],
  ])('the low-frequency channel of %s is %s', (layout, channel) => {
    expect(lowFrequencyChannel(layout)).toBe(channel);
  });
});

test('correlation finds a piece of noise where it was cut out, also inverted and weaker', () => {
  fc.assert(
    fc.property(
      fc.integer(),
      fc.integer({ min: 0, max: 300 }),
      fc.constantFrom(1, -1, 0.01),
      (seed, at, gain) => {
        const long = Float64Array.from({ length: 400 }, noise(seed));
        const values = correlations(
          long.slice(at, at + 100).map((value) => value * gain),
          long,
        );
        expect(values.length).toBe(301);
        expect(values[at]).toBeCloseTo(Math.sign(gain), 9);
        for (const [shift, value] of values.entries())
          if (shift !== at) expect(Math.abs(value)).toBeLessThan(0.9);
      },
    ),
    { numRuns: 40 },
  );
});

describe('uncompressed audio', () => {
  const samples = 3 * RATE;
  const left = Array.from({ length: samples + 200 }, noise(1)).map((value) => value * 0.5);
  const right = Array.from({ length: samples + 200 }, noise(2)).map((value) => value * 0.25);
  const of =
    (values: readonly number[], shift = 0) =>
    (n: number): number =>
      values[n - shift] ?? 0;
  const source = fingerprintsOf(pcmOf(samples, of(left), of(right)), 2, RATE, { start: 0, end: samples });
  const check = (output: Buffer, expected = exact(samples)) =>
    compared(source, output, 2, RATE, expected).differences.map(({ kind, channel }) => `${kind} ${channel}`);

  test('that is equal is proved sample by sample', () => {
    const { differences, channels } = compared(
      source,
      pcmOf(samples, of(left), of(right)),
      2,
      RATE,
      exact(samples),
    );
    expect(differences).toEqual([]);
    expect(channels.map(({ equalSamples, start, end }) => [equalSamples, start, end])).toEqual([
      [samples, 'proved', 'proved'],
      [samples, 'proved', 'proved'],
    ]);
  });

  test.each([1, -1, 2, 48, -48, 2000])('that is moved by %i samples is found, and by how much', (shift) => {
    const { differences } = compared(
      source,
      pcmOf(samples, of(left, shift), of(right, shift)),
      2,
      RATE,
      exact(samples),
    );
    expect(
      differences.map(({ kind, channel, found }) => [
        kind,
        channel,
        Number.parseFloat(found) * (found.endsWith('late') ? 1 : -1),
      ]),
    ).toEqual([
      ['offset', 0, shift],
      ['offset', 1, shift],
    ]);
  });

  test('one wrong sample is found, and where', () => {
    const output = pcmOf(samples, of(left), of(right));
    output.writeInt32LE(output.readInt32LE(8 * 100_000 + 4) ^ 256, 8 * 100_000 + 4);
    const { differences } = compared(source, output, 2, RATE, exact(samples));
    expect(differences).toMatchObject([{ kind: 'samples-differ', channel: 1, sample: 96_000, seconds: 2 }]);
  });

  test.each([
    ['swapped', pcmOf(samples, of(right), of(left)), ['channels-swapped 0', 'channels-swapped 1']],
    ['one silent', pcmOf(samples, of(left), () => 0), ['channel-silent 1']],
    ['inverted', pcmOf(samples, of(left.map((value) => -value)), of(right)), ['inverted 0']],
    ['weaker by 0.1 dB', pcmOf(samples, of(left.map((value) => value * 0.98855)), of(right)), ['level 0']],
    ['short by one sample', pcmOf(samples - 1, of(left), of(right)), ['length null']],
  ])('%s is named', (_title, output, kinds) => {
    expect(check(output)).toEqual(kinds);
  });

  test('of another number of channels is not compared further', () => {
    expect(compared(source, pcmOf(samples, of(left)), 1, RATE, exact(samples))).toMatchObject({
      differences: [{ kind: 'channels', found: '1 channels', expected: '2 channels' }],
      channels: [],
    });
  });

  test('equal channels may change places', () => {
    const twice = fingerprintsOf(pcmOf(samples, of(left), of(left)), 2, RATE, { start: 0, end: samples });
    expect(
      compared(twice, pcmOf(samples, of(left), of(left)), 2, RATE, exact(samples, { precision: null }))
        .differences,
    ).toEqual([]);
  });

  test('audio in what should be silence before it is found', () => {
    const late = exact(samples, { offset: 4000 });
    const used = fingerprintsOf(pcmOf(samples, of(left), of(right)), 2, RATE, usedPart(RATE, RATE, late));
    const clean = pcmOf(samples, of(left, 4000), of(right, 4000));
    expect(compared(used, clean, 2, RATE, late).differences).toEqual([]);
    clean.writeInt32LE(2 ** 20, 8 * 1000);
    expect(compared(used, clean, 2, RATE, late).differences).toMatchObject([
      { kind: 'added', channel: 0, sample: 0 },
    ]);
  });

  test('a precision cannot be asked for where rates differ', () => {
    expect(() => compared(source, pcmOf(10, of(left), of(right)), 2, 44100, exact(10))).toThrow(RangeError);
  });
});
