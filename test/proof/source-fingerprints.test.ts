/** The file that fingerprints are kept in. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CELLS, COLOUR_CELLS } from '../../proof/form.ts';
import { AudioCollector } from '../../proof/audio-collector.ts';
import {
  readFingerprints,
  type SourceFingerprints,
  FingerprintError,
  fingerprintFile,
} from '../../proof/source-fingerprints.ts';
import '../support/properties.ts';

/** Values without any order: the worst that a compressor can get. */
function noise(count: number, seed: number): Uint16Array {
  let state = seed >>> 0 || 1;
  return Uint16Array.from({ length: count }, () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return state >>> 16;
  });
}

function fingerprintsOf(
  frames: number,
  options: { views?: 1 | 2; colour?: boolean; audio?: boolean; seed?: number } = {},
): SourceFingerprints {
  const { views = 1, colour = true, audio = false, seed = 7 } = options;
  const collector = new AudioCollector({ channels: 2, sampleRate: 48_000 });
  collector.take(Buffer.from(noise(2 * 2 * 9_600, seed).buffer));
  return {
    picture: {
      frames,
      views,
      luma: noise(frames * views * CELLS, seed),
      colour: colour ? noise(2 * COLOUR_CELLS * frames, seed + 1) : null,
    },
    times: {
      timeBase: { num: 1, den: 24_000 },
      ticks: Float64Array.from(
        { length: frames },
        (_, frame) => 5 + frame * 1001 + (frame % 3 === 2 ? 1 : 0),
      ),
    },
    audioTracks: audio ? [collector.end(), null] : [],
  };
}

test('what is written is read back, whatever is in it', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.integer({ min: 0, max: 60 }),
      fc.constantFrom(1 as const, 2 as const),
      fc.boolean(),
      fc.boolean(),
      fc.integer({ min: 1, max: 1e6 }),
      async (frames, views, colour, audio, seed) => {
        const fingerprints = fingerprintsOf(frames, { views, colour, audio, seed });
        const { bytes, digest } = await fingerprintFile(fingerprints);
        const read = await readFingerprints(bytes);
        expect(read.digest).toBe(digest);
        expect(read.fingerprints).toEqual(fingerprints);
      },
    ),
    { numRuns: 30 },
  );
});

test('15 minutes at 24000/1001 stay below 30 MB, audio apart, however wild the pictures are', async () => {
  const { bytes } = await fingerprintFile(fingerprintsOf(21_578));
  expect(bytes.length).toBeLessThan(30_000_000);
});

describe('anything else than whole fingerprints are refused', () => {
  const whole = fingerprintFile(fingerprintsOf(30, { audio: true }));

  test('nothing, text, another version', async () => {
    const { bytes } = await whole;
    for (const other of [
      Buffer.alloc(0),
      Buffer.from('{"version":1}'),
      Buffer.from(bytes.toString('latin1').replace('fingerprints 2', 'fingerprints 9'), 'latin1'),
    ])
      await expect(readFingerprints(other)).rejects.toThrow(FingerprintError);
  });

  test('cut off at any place', async () => {
    const { bytes } = await whole;
    for (let length = 0; length < bytes.length; length += 997)
      await expect(readFingerprints(bytes.subarray(0, length))).rejects.toThrow(FingerprintError);
  });

  test('one bit turned over anywhere: refused, or told by the digest', async () => {
    const { bytes, digest } = await whole;
    for (let at = 0; at < bytes.length; at += 641) {
      const spoiled = Buffer.from(bytes);
      spoiled[at] = (spoiled[at] as number) ^ (1 << (at % 8));
      const read = await readFingerprints(spoiled).catch((error: unknown) => error);
      if (read instanceof FingerprintError) continue;
      expect((read as { digest: string }).digest).not.toBe(digest);
    }
  });
});
