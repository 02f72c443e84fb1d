/** Where a recording lies beside a clip by what both heard: drawn sounds with starts and clocks that are known, as cameras hear them in a room, with noise of their own. */
import { describe, expect, test } from 'vitest';
import { type HeardPart, runTogether } from '../../media/sound/together.ts';

const RATE = 48_000;
/** Numbers from -1 to 1 that repeat with the seed (mulberry32). */
function drawn(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 31 - 1;
  };
}
/** Strikes of a hammer with their noise, each at another pitch. */
const yard = ((): Float32Array => {
  const next = drawn(7);
  const sound = new Float32Array(24 * RATE);
  let slow = 0;
  for (let at = 0; at < sound.length; at += 1) {
    const stroke = Math.floor(at / 19_200);
    slow = 0.9 * slow + 0.1 * next();
    const tone = Math.sin(at * 0.03 * (1 + 0.13 * (stroke % 7)));
    sound[at] = Math.exp(-(at % 19_200) / 4000) * (2 * slow + 0.2 * tone);
  }
  return sound;
})();
/** Between samples by a windowed sinc of 33. */
function at(place: number): number {
  const whole = Math.floor(place);
  if (whole === place) return yard[whole] ?? 0;
  let sum = 0;
  for (let tap = -16; tap <= 16; tap += 1) {
    const away = place - whole - tap;
    const sinc = Math.abs(away) < 1e-9 ? 1 : Math.sin(Math.PI * away) / (Math.PI * away);
    sum += (yard[whole + tap] ?? 0) * sinc * (0.5 + 0.5 * Math.cos((Math.PI * away) / 17));
  }
  return sum;
}

interface Scene {
  /** Samples from the clip's first frame to the first one of the recording. */
  readonly start: number;
  /** Samples of the recorder to one of the clip. */
  readonly clock?: number;
  readonly noise?: number;
  readonly seed?: number;
}
/** The clip begins `2 s` into the yard's sound; its microphone hears walls as well. The recording has the yard itself. */
function parts({ start, clock = 1, noise = 0.02, seed = 1 }: Scene, seconds: readonly number[]): HeardPart[] {
  const next = drawn(seed);
  const recorded = (sample: number): number => 2 * RATE + start + sample / clock;
  return seconds.map((second) => {
    const clipSample = second * RATE;
    const heard = Float32Array.from({ length: RATE }, (_, sample) => {
      const place = 2 * RATE + clipSample + sample;
      const room = 0.3 * at(place - 700) + 0.25 * at(place - 1911) + 0.2 * at(place - 3333);
      return 0.6 * at(place) + room + noise * next();
    });
    const middle = Math.round((clipSample - start) * clock);
    const recordingSample = Math.max(0, middle - RATE);
    const length = middle + 2 * RATE - recordingSample;
    return {
      ...{ clipSample, heard, recordingSample },
      recorded: Float32Array.from({ length }, (_, sample) => at(recorded(recordingSample + sample))),
    };
  });
}
const ALONG = [1, 5, 9, 13];
const found = (scene: Scene) => {
  const together = runTogether(parts(scene, ALONG), RATE);
  if (together.kind !== 'found') throw new Error(JSON.stringify(together));
  return together.found;
};

test.each([
  ['with it', 0],
  ['a sample later', 1],
  ['a sample earlier', -1],
  ['40 ms earlier', -1920],
  ['a frame of 24000/1001 later', 2002],
])('a recording that begins %s is found to the sample', (_what, start) => {
  expect(found({ start })).toEqual({
    startSamples: start,
    driftMillionths: 0,
    parts: 4,
  });
});

test.each([
  ['0.1 % more samples', 1.001, 1000],
  ['0.1 % fewer', 0.999, -1000],
  ['fifty millionths more', 1.00005, 50],
])('%s of the recorder are told as they are, and the start with them', (_what, clock, drift) => {
  const { driftMillionths, startSamples } = found({ start: -1920, clock });
  // A few samples of twelve seconds.
  expect(Math.abs(driftMillionths - drift)).toBeLessThan(8);
  expect(Math.abs(startSamples + 1920)).toBeLessThanOrEqual(6);
});

test('as much noise as sound hides nothing', () => {
  expect(found({ start: 77, noise: 0.2 })).toMatchObject({ startSamples: 77, driftMillionths: 0 });
});

describe('nothing is claimed', () => {
  const [first, second] = parts({ start: 0 }, [1, 5]) as [HeardPart, HeardPart];
  const silent = new Float32Array(RATE);
  test.each<[string, HeardPart[]]>([
    ['of a silent clip', [{ ...first, heard: silent }]],
    ['of a silent recording', [{ ...first, recorded: silent }]],
    ['of noise alone', [{ ...first, heard: Float32Array.from({ length: RATE }, drawn(3)) }]],
    ['of no part', []],
  ])('%s', (_what, heard) => {
    expect(runTogether(heard, RATE)).toEqual({ kind: 'unsure', heard: [] });
  });

  test('of a bell that rings on, whose sound fits it again and again', () => {
    // Partials of a bell, each dying away in its own time (coordinator/demo/bell-sound.ts).
    const bell = (at: number): number =>
      [98, 196, 235.2, 294, 392].reduce(
        (sum, tone, index) =>
          sum +
          (at < 0
            ? 0
            : 0.2 * Math.exp((-(0.6 + index / 2) * at) / RATE) * Math.sin((2 * Math.PI * tone * at) / RATE)),
        0,
      );
    const ringing = [4800, 43_296].map(
      (clipSample): HeardPart => ({
        clipSample,
        heard: Float32Array.from({ length: RATE / 2 }, (_, sample) => bell(clipSample + sample)),
        recordingSample: 0,
        recorded: Float32Array.from({ length: 3.5 * RATE }, (_, sample) => bell(sample - RATE)),
      }),
    );
    expect(runTogether(ringing, RATE)).toEqual({ kind: 'unsure', heard: [] });
  });

  test('of one part that is sure, where the others are silent: nothing stands against an accident', () => {
    expect(runTogether([first, { ...second, heard: silent }], RATE)).toEqual({
      kind: 'unsure',
      heard: [{ clipSample: RATE, startSamples: 0 }],
    });
  });

  test('of parts that do not agree, and each says where the recording would begin by it', () => {
    // What is heard in one part lies a tenth of a second off what is heard in the others.
    const heard = parts({ start: 0 }, ALONG).map((part, index) =>
      index === 2 ? { ...part, recordingSample: part.recordingSample + 4800 } : part,
    );
    expect(runTogether(heard, RATE)).toEqual({
      kind: 'apart',
      heard: ALONG.map((second, index) => ({
        clipSample: second * RATE,
        startSamples: index === 2 ? -4800 : 0,
      })),
    });
  });
});
