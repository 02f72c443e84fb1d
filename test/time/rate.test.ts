import { InvalidArgumentError } from 'commander';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { rateOption } from '../../coordinator/commands/options.ts';
import { registry } from '../../findings/registry.ts';
import {
  compareRatios,
  divideRatios,
  formatRatio,
  knownRateNear,
  knownRates,
  timecodeBase,
  multiplyRatios,
  parseRate,
  ratio,
  rescale,
  roundedDivision,
  sameRatio,
} from '../../media/time/rate.ts';

const positive = fc.integer({ min: 1, max: 1_000_000 });
const anyRatio = fc.tuple(positive, positive).map(([num, den]) => ratio(num, den));

describe('reading a rate', () => {
  test.each([
    ['25', 25, 1],
    ['24000/1001', 24000, 1001],
    ['24000:1001', 24000, 1001],
    ['60000/2002', 30000, 1001],
    ['23.976', 24000, 1001],
    ['23.98', 24000, 1001],
    ['23.976024', 24000, 1001],
    ['29.97', 30000, 1001],
    ['29.970', 30000, 1001],
    ['47.95', 48000, 1001],
    ['47.952', 48000, 1001],
    ['59.94', 60000, 1001],
    ['119.88', 120000, 1001],
    ['24.000', 24, 1],
    ['25.0', 25, 1],
    ['12.5', 25, 2],
    ['18', 18, 1],
  ])('%s is %i/%i', (text, num, den) => {
    expect(parseRate(text)).toEqual({ num, den });
  });

  test.each([
    '23.97',
    '23.96',
    '29.96',
    '59.9',
    '24.0 fps',
    '',
    '0',
    '0/1',
    '25/0',
    '-25',
    '1e3',
    'NaN',
    '24,0',
    '0x18',
    '9999999999999',
  ])('%j is refused', (text) => {
    expect(() => parseRate(text)).toThrow(RangeError);
  });

  test('the command line reads and refuses the same texts', () => {
    const read = (parse: (text: string) => unknown, text: string): unknown => {
      try {
        return parse(text);
      } catch (error) {
        if (error instanceof RangeError || error instanceof InvalidArgumentError) return 'refused';
        throw error;
      }
    };
    const number = fc.nat(130_000).map(String);
    const decimal = fc
      .tuple(fc.nat(130), fc.integer({ min: 0, max: 6 }), fc.nat(999_999))
      .map(([whole, places, rest]) => (whole + rest / 1e6).toFixed(places));
    const near = fc
      .tuple(fc.constantFrom(...knownRates), fc.integer({ min: 0, max: 6 }))
      .map(([{ num, den }, places]) => (num / den).toFixed(places));
    const pair = fc.tuple(number, fc.constantFrom('/', ':', ' / '), number).map((parts) => parts.join(''));
    fc.assert(
      fc.property(fc.oneof(number, decimal, near, pair, anyRatio.map(formatRatio), fc.string()), (text) => {
        expect(read(rateOption, text)).toEqual(read(parseRate, text));
      }),
      { numRuns: 500 },
    );
  });

  test.each(['47.952', '95.904', '119.88', '25.0', '24000/1001'])('--rate takes %s', (text) => {
    expect(rateOption(text)).toEqual(parseRate(text));
  });

  test('the remedy for a rate that is not offered names every known rate, in words that --rate takes', () => {
    const named = registry['rate-unsupported'].remedy.match(/\d+(?:\.\d+)?/g) ?? [];
    expect(named.map(rateOption)).toEqual(knownRates);
  });

  test('what is printed reads back', () => {
    fc.assert(fc.property(anyRatio, (value) => sameRatio(parseRate(formatRatio(value)), value)));
  });

  // SMPTE ST 12-1: bases of its ten rates; ST 12-3 above them.
  test('every known rate has the base of its labels', () => {
    expect(knownRates.map(timecodeBase)).toEqual([
      24, 24, 25, 30, 30, 48, 48, 50, 60, 60, 96, 96, 100, 120, 120,
    ]);
  });

  test('32-bit header fields mean the exact pair', () => {
    for (const rate of knownRates) expect(knownRateNear(Math.fround(rate.num / rate.den))).toEqual(rate);
    expect(knownRateNear(23.976)).toEqual({ num: 24000, den: 1001 });
    expect(knownRateNear(23.99)).toBeNull();
    expect(knownRateNear(Number.NaN)).toBeNull();
  });
});

describe('exact arithmetic', () => {
  test('division undoes multiplication', () => {
    fc.assert(fc.property(anyRatio, anyRatio, (a, b) => sameRatio(divideRatios(multiplyRatios(a, b), b), a)));
  });

  test('comparison agrees with the sign of the cross product, and with itself turned round', () => {
    fc.assert(
      fc.property(
        anyRatio,
        anyRatio,
        (a, b) => compareRatios(a, b) === -compareRatios(b, a) || compareRatios(a, b) === 0,
      ),
    );
    expect(compareRatios(ratio(24000, 1001), ratio(24))).toBe(-1);
    expect(compareRatios(ratio(30), ratio(30000, 1001))).toBe(1);
    expect(compareRatios(ratio(60000, 2002), ratio(30000, 1001))).toBe(0);
  });

  test('rounding lies within half, and halves go up', () => {
    fc.assert(
      fc.property(
        fc.bigInt({ min: -(10n ** 20n), max: 10n ** 20n }),
        fc.bigInt({ min: 1n, max: 10n ** 10n }),
        (top, bottom) => {
          const rest = 2n * (top - roundedDivision(top, bottom) * bottom);
          return rest >= -bottom && rest < bottom;
        },
      ),
    );
    expect([
      roundedDivision(5n, 2n),
      roundedDivision(-5n, 2n),
      roundedDivision(-6n, 2n),
      roundedDivision(-7n, 3n),
    ]).toEqual([3n, -2n, -3n, -2n]);
  });

  // 48 kHz frames of audio are 1602, 1601, 1602, 1601, 1602 samples at 29.97: the five-frame sequence of SMPTE ST 299 (the order from memory), 8008 in all.
  test('running totals of samples at 29.97 repeat every five frames', () => {
    const samples = (frames: number): number => rescale(frames, ratio(30000, 1001), ratio(48000));
    expect([1, 2, 3, 4, 5].map((frames) => samples(frames) - samples(frames - 1))).toEqual([
      1602, 1601, 1602, 1601, 1602,
    ]);
    expect(samples(5_000_000_000)).toBe(8_008_000_000_000);
  });

  test('rescaling to a finer rate and back gives the same count', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: -1_000_000_000, max: 1_000_000_000 }),
        fc.constantFrom(...knownRates),
        (frames, rate) => rescale(rescale(frames, rate, ratio(48000)), ratio(48000), rate) === frames,
      ),
    );
  });

  test('what JavaScript cannot hold is refused', () => {
    expect(() => rescale(Number.MAX_SAFE_INTEGER, ratio(24), ratio(48000))).toThrow(RangeError);
  });
});
