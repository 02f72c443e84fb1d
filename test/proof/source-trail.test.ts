/** The file that a trail is kept in. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CELLS, COLOUR_CELLS, colourFrames } from '../../proof/form.ts';
import { SoundCollector } from '../../proof/sound-collector.ts';
import { readTrail, type SourceTrail, TrailError, trailFile } from '../../proof/source-trail.ts';
import '../support/properties.ts';

/** Values without any order: the worst that a compressor can get. */
function noise(count: number, seed: number): Uint16Array {
  let state = seed >>> 0 || 1;
  return Uint16Array.from({ length: count }, () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return state >>> 16;
  });
}

function trailOf(
  frames: number,
  options: { views?: 1 | 2; colour?: boolean; sound?: boolean; seed?: number } = {},
): SourceTrail {
  const { views = 1, colour = true, sound = false, seed = 7 } = options;
  const collector = new SoundCollector({ channels: 2, sampleRate: 48_000 });
  collector.take(Buffer.from(noise(2 * 2 * 9_600, seed).buffer));
  return {
    picture: {
      frames,
      views,
      luma: noise(frames * views * CELLS, seed),
      colour: colour ? noise(2 * COLOUR_CELLS * colourFrames(frames), seed + 1) : null,
    },
    times: {
      timeBase: { num: 1, den: 24_000 },
      ticks: Float64Array.from(
        { length: frames },
        (_, frame) => 5 + frame * 1001 + (frame % 3 === 2 ? 1 : 0),
      ),
    },
    sounds: sound ? [collector.end(), null] : [],
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
      async (frames, views, colour, sound, seed) => {
        const trail = trailOf(frames, { views, colour, sound, seed });
        const { bytes, digest } = await trailFile(trail);
        const read = await readTrail(bytes);
        expect(read.digest).toBe(digest);
        expect(read.trail).toEqual(trail);
      },
    ),
    { numRuns: 30 },
  );
});

test('15 minutes at 24000/1001 stay below 20 MB, sound apart, however wild the pictures are', async () => {
  const { bytes } = await trailFile(trailOf(21_578));
  expect(bytes.length).toBeLessThan(20_000_000);
});

describe('anything else than a whole trail is refused', () => {
  const whole = trailFile(trailOf(30, { sound: true }));

  test('nothing, text, another version', async () => {
    const { bytes } = await whole;
    for (const other of [
      Buffer.alloc(0),
      Buffer.from('{"version":1}'),
      Buffer.from(bytes.toString('latin1').replace('trail 1', 'trail 9'), 'latin1'),
    ])
      await expect(readTrail(other)).rejects.toThrow(TrailError);
  });

  test('cut off at any place', async () => {
    const { bytes } = await whole;
    for (let length = 0; length < bytes.length; length += 997)
      await expect(readTrail(bytes.subarray(0, length))).rejects.toThrow(TrailError);
  });

  test('one bit turned over anywhere: refused, or told by the digest', async () => {
    const { bytes, digest } = await whole;
    for (let at = 0; at < bytes.length; at += 641) {
      const spoiled = Buffer.from(bytes);
      spoiled[at] = (spoiled[at] as number) ^ (1 << (at % 8));
      const read = await readTrail(spoiled).catch((error: unknown) => error);
      if (read instanceof TrailError) continue;
      expect((read as { digest: string }).digest).not.toBe(digest);
    }
  });
});
