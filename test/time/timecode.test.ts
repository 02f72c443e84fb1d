/** SMPTE ST 12-1 (labels, drop-frame at 30 and 60) and ST 12-3 (120). */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { ratio } from '../../media/time/rate.ts';
import {
  type Timecode,
  addFrames,
  formatTimecode,
  framesPerDay,
  parseTimecode,
} from '../../media/time/timecode.ts';

const R2398 = ratio(24000, 1001);
const R2997 = ratio(30000, 1001);
const R5994 = ratio(60000, 1001);
const R11988 = ratio(120000, 1001);
const rates = {
  '23.976': R2398,
  '24': ratio(24),
  '25': ratio(25),
  '29.97': R2997,
  '30': ratio(30),
  '47.952': ratio(48000, 1001),
  '48': ratio(48),
  '50': ratio(50),
  '59.94': R5994,
  '60': ratio(60),
  '96': ratio(96),
  '100': ratio(100),
  '119.88': R11988,
  '120': ratio(120),
};

const countings = fc.constantFrom<[number, boolean]>(
  [24, false],
  [25, false],
  [30, false],
  [30, true],
  [48, false],
  [50, false],
  [60, false],
  [60, true],
  [96, false],
  [100, false],
  [120, false],
  [120, true],
);
const anyTimecode = countings.chain(([base, drop]) =>
  fc.integer({ min: 0, max: framesPerDay(base, drop) - 1 }).map((frame): Timecode => ({ frame, base, drop })),
);

describe('published counts', () => {
  // ST 12-1: 17 982 frames in ten minutes, 107 892 in an hour of drop-frame at 29.97.
  test.each([
    ['00:00:59;29', R2997, 1_799],
    ['00:01:00;02', R2997, 1_800],
    ['00:09:59;29', R2997, 17_981],
    ['00:10:00;00', R2997, 17_982],
    ['01:00:00;00', R2997, 107_892],
    ['10:00:00;00', R2997, 1_078_920],
    ['12:34:56;12', R2997, 1_357_534],
    ['23:59:59;29', R2997, 2_589_407],
    ['00:00:59;59', R5994, 3_599],
    ['00:01:00;04', R5994, 3_600],
    ['00:10:00;00', R5994, 35_964],
    ['01:00:00;00', R5994, 215_784],
    ['12:34:56;12', R5994, 2_715_056],
    ['23:59:59;59', R5994, 5_178_815],
    ['00:00:59;119', R11988, 7_199],
    ['00:01:00;08', R11988, 7_200],
    ['00:10:00;00', R11988, 71_928],
    ['12:34:56;12', R11988, 5_430_100],
    ['01:00:00:00', R2398, 86_400],
    ['01:00:00:12', ratio(24), 86_412],
    ['01:00:00:00', R2997, 108_000],
    ['01:00:00:49', ratio(50), 180_049],
    ['01:00:00:119', ratio(120), 432_119],
  ])('%s is frame', (label, rate, frame) => {
    expect(parseTimecode(label, rate).frame).toBe(frame);
    expect(formatTimecode(parseTimecode(label, rate))).toBe(label);
  });

  test.each([
    [24, false, 2_073_600],
    [25, false, 2_160_000],
    [30, false, 2_592_000],
    [30, true, 2_589_408],
    [48, false, 4_147_200],
    [50, false, 4_320_000],
    [60, false, 5_184_000],
    [60, true, 5_178_816],
    [120, true, 10_357_632],
  ])('a day at base %i, drop-frame %s', (base, drop, frames) => {
    expect(framesPerDay(base, drop)).toBe(frames);
  });
});

describe('every label of a day, walked as a clock walks', () => {
  // The clock leaves out the first labels of every minute that is not a tenth; it knows nothing of the formulas under test.
  test.each([
    [30, 2],
    [60, 4],
  ])('base %i', (base, dropped) => {
    let frame = 0;
    let wrong = 0;
    const two = (value: number): string => String(value).padStart(2, '0');
    for (let hour = 0; hour < 24; hour += 1) {
      for (let minute = 0; minute < 60; minute += 1) {
        for (let second = 0; second < 60; second += 1) {
          for (let count = 0; count < base; count += 1) {
            if (second === 0 && count < dropped && minute % 10 !== 0) continue;
            const label = `${two(hour)}:${two(minute)}:${two(second)};${two(count)}`;
            if (
              formatTimecode({ frame, base, drop: true }) !== label ||
              parseTimecode(label, base).frame !== frame
            )
              wrong += 1;
            frame += 1;
          }
        }
      }
    }
    expect(wrong).toBe(0);
    expect(frame).toBe(framesPerDay(base, true));
  });
});

describe('reading a label', () => {
  test.each([':', ';', '.', ','])('%s before the frames', (separator) => {
    expect(parseTimecode(`01:00:00${separator}02`, R2997)).toEqual({
      frame: separator === ':' ? 108_002 : 107_894,
      base: 30,
      drop: separator !== ':',
    });
  });

  test.each([
    ['00:01:00;00', '29.97'],
    ['00:01:00;01', '29.97'],
    ['12:34:00;00', '29.97'],
    ['01:01:00;00', '29.97'],
    ['00:01:00;03', '59.94'],
    ['00:01:00;07', '119.88'],
    ['01:00:00:30', '24'],
    ['01:00:00:24', '23.976'],
    ['01:00:00:25', '25'],
    ['24:00:00:00', '25'],
    ['25:00:00:00', '25'],
    ['00:60:00:00', '25'],
    ['00:00:60:00', '25'],
    ['01:00:00;00', '24'],
    ['01:00:00;00', '23.976'],
    ['01:00:00;00', '25'],
    ['01:00:00;00', '30'],
    ['01:00:00;00', '50'],
    ['01:00:00;00', '60'],
    ['01:00:00.00', '47.952'],
    ['1:00:00:00', '25'],
    ['01:00:00', '25'],
    ['01:00:00:0', '25'],
    [' 01:00:00:00', '25'],
    ['01:00:00:00\n', '25'],
    ['', '25'],
    ['-1:00:00:00', '25'],
  ] as const)('%j at %s is refused', (label, rate) => {
    expect(() => parseTimecode(label, rates[rate])).toThrow(RangeError);
  });

  test('labels that drop-frame keeps are taken', () => {
    expect(parseTimecode('00:10:00;00', R2997).frame).toBe(17_982);
    expect(parseTimecode('00:01:00:00', R2997).frame).toBe(1_800);
  });
});

describe('counting on', () => {
  test('a label turns into a frame and back', () => {
    fc.assert(
      fc.property(
        anyTimecode,
        (timecode) => void expect(parseTimecode(formatTimecode(timecode), timecode.base)).toEqual(timecode),
      ),
    );
  });

  test('adding a and then b is adding a + b, and taking away comes back', () => {
    const steps = fc.integer({ min: -20_000_000, max: 20_000_000 });
    fc.assert(
      fc.property(anyTimecode, steps, steps, (timecode, a, b) => {
        expect(addFrames(addFrames(timecode, a), b)).toEqual(addFrames(timecode, a + b));
        expect(addFrames(addFrames(timecode, a), -a)).toEqual(timecode);
      }),
    );
  });

  test.each([
    ['23:59:59:23', ratio(24), '00:00:00:00'],
    ['23:59:59;29', R2997, '00:00:00;00'],
    ['23:59:59:29', R2997, '00:00:00:00'],
    ['23:59:59;59', R5994, '00:00:00;00'],
    ['00:00:59;29', R2997, '00:01:00;02'],
    ['00:09:59;29', R2997, '00:10:00;00'],
    ['00:08:59;59', R5994, '00:09:00;04'],
  ])('after %s comes', (before, rate, after) => {
    expect(formatTimecode(addFrames(parseTimecode(before, rate), 1))).toBe(after);
    expect(formatTimecode(addFrames(parseTimecode(after, rate), -1))).toBe(before);
  });
});
