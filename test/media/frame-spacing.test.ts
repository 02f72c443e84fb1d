import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { frameSpacingOf } from '../../media/probe/frame-spacing.ts';
import { type Rate, type Ratio, gcd, knownRates, ratio } from '../../media/time/rate.ts';

/** Times of `frames` frames at `rate`, rounded to ticks the given way, as a writer does it. */
function written(
  frames: number,
  rate: Rate,
  timeBase: Ratio,
  rounding: 'down' | 'nearest',
  start = 0,
): Float64Array {
  const top = BigInt(rate.den) * BigInt(timeBase.den);
  const bottom = BigInt(rate.num) * BigInt(timeBase.num);
  return Float64Array.from({ length: frames }, (_, index) => {
    const scaled = BigInt(index) * top;
    return start + Number(rounding === 'down' ? scaled / bottom : (2n * scaled + bottom) / (2n * bottom));
  });
}

const slow = knownRates.filter((rate) => rate.num / rate.den <= 60);

describe('a constant rate is recognised through rounding', () => {
  test.each([
    [1000, 'milliseconds'],
    [90_000, '90 kHz'],
    [600, '600ths of a second'],
    [1_000_000, 'microseconds'],
  ])('%i ticks a second (%s), every rate up to 60, two minutes, both ways of rounding', (ticks) => {
    for (const rate of slow) {
      // An eighth of a frame is the coarsest grid that proves anything.
      if (ticks * rate.den < 8 * rate.num) continue;
      for (const rounding of ['down', 'nearest'] as const) {
        const frameSpacing = frameSpacingOf(
          written(Math.round((120 * rate.num) / rate.den), rate, ratio(1, ticks), rounding, 17),
          ratio(1, ticks),
          [],
        );
        expect(frameSpacing, `${rate.num}/${rate.den} ${rounding}`).toMatchObject({ constant: true, rate });
        expect(frameSpacing.steps).toHaveLength(1);
      }
    }
  });

  test('whichever the rate, base and length, what was written at the claimed rate is constant', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...slow),
        fc.constantFrom(1000, 12_800, 24_000, 90_000, 1_000_000),
        fc.integer({ min: 2, max: 500 }),
        fc.constantFrom('down' as const, 'nearest' as const),
        (rate, ticks, frames, rounding) => {
          expect(
            frameSpacingOf(written(frames, rate, ratio(1, ticks), rounding), ratio(1, ticks), [rate]),
          ).toMatchObject({ constant: true, rate });
        },
      ),
    );
  });

  test('times once in milliseconds and then in finer ticks', () => {
    const rate = ratio(24000, 1001);
    const times = written(500, rate, ratio(1, 1000), 'nearest').map((time) => time * 16);
    expect(frameSpacingOf(times, ratio(1, 16_000), [])).toMatchObject({ constant: true, rate });
  });

  test.each([
    ['33.356, 33.367 and 33.378 ms around 30000/1001', [3002, 3003, 3004], 3003, ratio(30000, 1001)],
    ['one frame a tick late', [3600, 3600, 3601, 3599, 3600], 3600, ratio(25)],
    ['one frame a tick early', [3600, 3599, 3601, 3600], 3600, ratio(25)],
    ['the last frame a tick late', [3600, 3600, 3601], 3600, ratio(25)],
  ])(
    'steps of one tick more or less in a base of 90 kHz that can hold the rate: %s',
    (_, pattern, usual, rate) => {
      const turns = pattern.length === 3 && pattern[0] !== usual ? 10 : 1;
      const times = [17];
      for (let turn = 0; turn < turns; turn += 1)
        for (const step of pattern) times.push((times.at(-1) as number) + step);
      const spacing = frameSpacingOf(Float64Array.from(times), ratio(1, 90_000), []);
      expect(spacing).toMatchObject({ constant: true, rate });
      // Said as they are: a file of our own must have equal ones.
      expect(spacing.steps.length).toBe(new Set(pattern).size);
    },
  );

  test('an odd rate held exactly is constant and itself', () => {
    expect(frameSpacingOf(written(50, ratio(18), ratio(1, 90_000), 'down'), ratio(1, 90_000), [])).toEqual({
      constant: true,
      rate: { num: 18, den: 1 },
      steps: [{ ticks: 5000, count: 49 }],
    });
  });

  test('one frame: the claim, or nothing', () => {
    expect(frameSpacingOf(Float64Array.of(7), ratio(1, 24), [ratio(24)])).toEqual({
      constant: true,
      rate: { num: 24, den: 1 },
      steps: [],
    });
    expect(frameSpacingOf(Float64Array.of(7), ratio(1, 24), []).rate).toBeNull();
  });
});

describe('what is not constant is not taken for it', () => {
  test('one frame missing anywhere, in any base', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...slow),
        fc.constantFrom(600, 1000, 24_000, 90_000),
        fc.integer({ min: 4, max: 300 }),
        fc.integer({ min: 1, max: 298 }),
        (rate, ticks, frames, at) => {
          const whole = [...written(frames, rate, ratio(1, ticks), 'nearest')];
          const index = 1 + (at % (frames - 2));
          whole.splice(index, 1);
          const frameSpacing = frameSpacingOf(Float64Array.from(whole), ratio(1, ticks), [rate]);
          expect(frameSpacing.constant).toBe(false);
          expect(frameSpacing.rate).toEqual(rate);
        },
      ),
    );
  });

  test('one tick is one frame: a hole is no rounding', () => {
    expect(
      frameSpacingOf(Float64Array.of(0, 1, 2, 4, 5), ratio(1001, 24_000), [ratio(24000, 1001)]).constant,
    ).toBe(false);
  });

  test('one frame displaced by two ticks or more, in any base', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...slow),
        fc.constantFrom(1000, 12_800, 24_000, 90_000, 1_000_000),
        fc.integer({ min: 4, max: 300 }),
        fc.integer({ min: 0, max: 299 }),
        fc.integer({ min: 2, max: 400 }),
        fc.boolean(),
        fc.constantFrom('down' as const, 'nearest' as const),
        (rate, ticks, frames, at, by, later, rounding) => {
          const times = written(frames, rate, ratio(1, ticks), rounding);
          const index = at % frames;
          // A frame stays between its neighbours.
          fc.pre(2 * by * rate.num < ticks * rate.den);
          times[index] = (times[index] as number) + (later ? by : -by);
          // Three steps or four in a base that cannot hold the rate may all be multiples of something by chance: then they are times of a coarser clock.
          const steps = [...times].slice(1).map((time, place) => time - (times[place] as number));
          const common = steps.reduce((a, b) => Number(gcd(BigInt(a), BigInt(b))));
          fc.pre(common === 1 || (ticks * rate.den) % rate.num === 0);
          expect(frameSpacingOf(times, ratio(1, ticks), [rate]).constant).toBe(false);
        },
      ),
      { numRuns: 500 },
    );
  });

  test('a rate that is a little another one runs away from the claim', () => {
    // Every step is within a tick of 30000/1001; after a second they are 30 ticks away.
    const times = Float64Array.from({ length: 90 }, (_, index) => index * 3003 + (index % 2) + index);
    expect(frameSpacingOf(times, ratio(1, 90_000), [ratio(30000, 1001)]).constant).toBe(false);
  });

  test('the drift that joining pieces in a coarse base leaves', () => {
    const times = Float64Array.from({ length: 74 }, (_, index) => index * 1001 + (index >= 37 ? 19 : 0));
    const frameSpacing = frameSpacingOf(times, ratio(1, 24_000), [ratio(24000, 1001)]);
    expect(frameSpacing).toEqual({
      constant: false,
      rate: { num: 24000, den: 1001 },
      steps: [
        { ticks: 1001, count: 72 },
        { ticks: 1020, count: 1 },
      ],
    });
  });

  test('two pictures at one time', () => {
    expect(frameSpacingOf(Float64Array.of(0, 1000, 1000, 2000), ratio(1, 25_000), []).constant).toBe(false);
    expect(frameSpacingOf(Float64Array.of(5, 5, 5), ratio(1, 25), [ratio(25)])).toMatchObject({
      constant: false,
    });
  });

  test('without a claim the nominal rate is the average', () => {
    expect(frameSpacingOf(Float64Array.of(0, 100, 300, 400), ratio(1, 1000), []).rate).toEqual({
      num: 15,
      den: 2,
    });
  });
});
