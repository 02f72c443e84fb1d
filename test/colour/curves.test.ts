/** Published curves against published values. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type PublishedCurve, decode, encode, logc3Indices } from '../../media/colour/curves.ts';
import '../support/properties.ts';

/**
 * Codes of linear 0, 0.01, 0.18, 0.9, 1 and 10, computed apart from this code (Python) by the formulas of the papers that
 * media/colour/curves.ts names, and by OpenColorIO 2.1 where it has the curve: they agree. Cineon: OpenColorIO alone.
 */
const published: [PublishedCurve, number[]][] = [
  [{ name: 'slog3' }, [0.0928641, 0.1590836, 0.4105572, 0.5844528, 0.5960273, 0.8506544]],
  [{ name: 'logc3', ei: 800 }, [0.092809, 0.1464856, 0.3910068, 0.5594319, 0.5706316, 0.8169172]],
  [{ name: 'logc4' }, [0.0928641, 0.1208294, 0.2783958, 0.4179594, 0.4275194, 0.6403898]],
  [{ name: 'vlog' }, [0.125, 0.1809997, 0.4233114, 0.5881674, 0.5991177, 0.8398115]],
  [{ name: 'log3g10' }, [0.0915515, 0.1378987, 0.3333329, 0.4833605, 0.4934485, 0.7163047]],
  // These five have no reference in OpenColorIO 2.1; the documentation of the Python library colour (0.4) prints the same at 0.18.
  [{ name: 'slog2' }, [0.0882513, 0.1188238, 0.3395325, 0.5689504, 0.5850911, 0.9488682]],
  [{ name: 'flog' }, [0.092864, 0.1620304, 0.4593185, 0.6895033, 0.7049964, 1.0473977]],
  [{ name: 'flog2' }, [0.092864, 0.1587975, 0.3910072, 0.5571324, 0.5682194, 0.8123887]],
  [{ name: 'nlog' }, [0.1243726, 0.1649619, 0.3636678, 0.5896343, 0.6050831, 0.9427055]],
  [{ name: 'dlog' }, [0.0929, 0.1522838, 0.3987646, 0.5729444, 0.584555, 0.8401292]],
  [{ name: 'cineon' }, [0.0928641, 0.1756859, 0.4573196, 0.6563333, 0.6695992, 0.9616106]],
];

describe('camera logs', () => {
  test.each(published)('%o encodes as published', (curve, codes) => {
    for (const [index, linear] of [0, 0.01, 0.18, 0.9, 1, 10].entries())
      expect(encode(curve, linear)).toBeCloseTo(codes[index] as number, 6);
  });

  /** Linear light of code 1 and of code 0, from the same sources. */
  test.each<[PublishedCurve, number, number]>([
    [{ name: 'slog3' }, 38.420934, -0.014024],
    [{ name: 'logc3', ei: 800 }, 55.079577, -0.01729],
    [{ name: 'logc4' }, 469.8, -0.018057],
    [{ name: 'vlog' }, 46.085528, -0.022321],
    [{ name: 'log3g10' }, 184.322348, -0.01],
    [{ name: 'slog2' }, 13.758274, -0.026211],
    [{ name: 'flog' }, 7.281325, -0.01063],
    [{ name: 'flog2' }, 58.250874, -0.010553],
    [{ name: 'nlog' }, 14.780863, -0.0075],
    [{ name: 'dlog' }, 41.999393, -0.015419],
    [{ name: 'cineon' }, 13.521695, -0.005651],
  ])('%o decodes the ends of full scale as published', (curve, white, black) => {
    expect(decode(curve, 1) / white).toBeCloseTo(1, 6);
    expect(decode(curve, 0)).toBeCloseTo(black, 6);
  });

  // 10-bit codes of 18 % grey, as the papers print them: S-Log3 420, LogC3 at EI 800 400, V-Log 433, Log3G10 341 (1/3).
  test.each<[PublishedCurve, number]>([
    [{ name: 'slog3' }, 420],
    [{ name: 'logc3', ei: 800 }, 400],
    [{ name: 'vlog' }, 433],
    [{ name: 'log3g10' }, 341],
  ])('%o has 18 %% grey at 10-bit code %i', (curve, code) => {
    expect(Math.round(encode(curve, 0.18) * 1023)).toBe(code);
  });

  // The tables of the S-Log2 paper (ISO 800), of “F-Log Data Sheet” 1.1 and of “F-Log2 Data Sheet” 1.0, as that library quotes them.
  test.each<[PublishedCurve, number, number, number]>([
    [{ name: 'slog2' }, 90, 347, 582],
    [{ name: 'flog' }, 95, 470, 705],
    [{ name: 'flog2' }, 95, 400, 570],
  ])('%o has black, 18 %% and 90 %% at 10-bit codes %i, %i and %i', (curve, ...codes) => {
    expect([0, 0.18, 0.9].map((light) => Math.round(encode(curve, light) * 1023))).toEqual(codes);
  });

  // “Log C Curve – Usage in VFX”: at every exposure index 18 % grey lies at 0.391, code 400 of 10 bits.
  test.each(logc3Indices.map((ei) => [ei]))(
    'LogC3 at EI %i has 18 %% grey at 0.391, and its parts meet',
    (ei) => {
      const curve = { name: 'logc3', ei } as const;
      expect(encode(curve, 0.18)).toBeCloseTo(0.391, 4);
      const cut = decode(curve, 0.15);
      expect(Math.abs(decode(curve, 0.15 + 1e-9) - cut)).toBeLessThan(1e-8);
    },
  );
});

describe('curves of ACES', () => {
  // Academy S-2013-001: 18 % is 426 of 10 bits and 1705 of 12 (both from the library colour), and 1.0 lies 2.5 stops above the middle code.
  test.each([
    ['acesproxy10', 1023, 426, 550],
    ['acesproxy12', 4095, 1705, 2200],
  ] as const)('%s', (name, most, grey, one) => {
    expect(Math.round(encode({ name }, 0.18) * most)).toBe(grey);
    expect(encode({ name }, 1) * most).toBeCloseTo(one, 9);
    expect(encode({ name }, 0)).toBe(name === 'acesproxy10' ? 64 / 1023 : 256 / 4095);
  });

  // Academy S-2016-001 and S-2014-003; the values agree with OpenColorIO 2.1.
  test.each([
    [-0.01, -0.0324968, -0.3584475],
    [0, 0.0729055342, -0.3584474886],
    [0.0078125, 0.1552511416, 0.1552511416],
    [0.18, 0.4135884025, 0.4135884025],
    [1, 0.5547945205, 0.5547945205],
    [222.860944204, 1, 1],
  ])('%f is %f in ACEScct and %f in ACEScc', (linear, cct, cc) => {
    expect(encode({ name: 'acescct' }, linear)).toBeCloseTo(cct, 7);
    expect(encode({ name: 'acescc' }, linear)).toBeCloseTo(cc, 6);
  });
});

describe('curves of television and displays', () => {
  // ITU-R BT.709, IEC 61966-2-1, computed apart from this code; the second agrees with OpenColorIO 2.1.
  test.each([
    [0, 0, 0],
    [0.01, 0.045, 0.0998528],
    [0.18, 0.4090077, 0.4613561],
    [0.9, 0.9491099, 0.9546872],
    [1, 1, 1],
  ])('%f is %f in BT.709 and %f in sRGB', (linear, bt709, srgb) => {
    expect(encode({ name: 'bt709' }, linear)).toBeCloseTo(bt709, 6);
    expect(encode({ name: 'srgb' }, linear)).toBeCloseTo(srgb, 6);
  });

  test('0.18 is 0.4894371 in BT.1886 with a black of 0 (OpenColorIO 2.1)', () => {
    expect(encode({ name: 'bt1886' }, 0.18)).toBeCloseTo(0.4894371, 6);
  });

  // SMPTE ST 2084, computed apart from this code; OpenColorIO 2.1 agrees. 100 cd/m² is 0.508 and 1000 is 0.752 in ITU-R BT.2408 too.
  test.each([
    [0.1, 0.0623369],
    [1, 0.1499457],
    [10, 0.2996991],
    [18, 0.3479667],
    [48, 0.436408],
    [100, 0.5080784],
    [203, 0.5806889],
    [400, 0.6525786],
    [600, 0.6962941],
    [1000, 0.7518271],
    [2000, 0.8274246],
    [4000, 0.9025724],
    [10000, 1],
  ])('PQ: %f cd/m² is %f', (nits, signal) => {
    expect(encode({ name: 'pq', nits_of_one: 1 }, nits)).toBeCloseTo(signal, 6);
    expect(encode({ name: 'pq', nits_of_one: 100 }, nits / 100)).toBeCloseTo(signal, 6);
  });

  // ITU-R BT.2100, table 5.
  test.each([
    [1 / 12, 0.5],
    [0.05, 0.3872983],
    [0.1, 0.5440895],
    [0.18, 0.6723581],
    [0.5, 0.8716435],
    [1, 1],
  ])('HLG: %f is %f', (scene, signal) => {
    expect(encode({ name: 'hlg', signal_of_one: 1 }, scene)).toBeCloseTo(signal, 6);
  });

  // ITU-R BT.2408, table 1: reference white at 75 % and an 18 % grey card at 38 % HLG, rounded to whole percents.
  test('HLG with its reference white as 1.0 has a grey card at 38 %', () => {
    expect(decode({ name: 'hlg', signal_of_one: 0.75 }, 0.75)).toBeCloseTo(1, 12);
    expect(Math.round(100 * encode({ name: 'hlg', signal_of_one: 0.75 }, 0.18))).toBe(38);
  });
});

const all: PublishedCurve[] = [
  ...published.map(([curve]) => curve),
  { name: 'linear' },
  { name: 'acescct' },
  { name: 'bt1886' },
  { name: 'srgb' },
  { name: 'pq', nits_of_one: 100 },
  { name: 'hlg', signal_of_one: 0.75 },
  { name: 'logc3', ei: 160 },
  { name: 'logc3', ei: 1600 },
];

test.each(all)(
  '%o loses nothing: encoded again, a code below black or above white is what it was',
  (curve) => {
    fc.assert(
      fc.property(
        fc.double({
          min: curve.name === 'pq' ? 0.01 : -0.2,
          max: curve.name === 'pq' ? 1.1 : 1.3,
          noNaN: true,
        }),
        (code) => {
          expect(encode(curve, decode(curve, code))).toBeCloseTo(code, 6);
        },
      ),
    );
  },
);

test.each<PublishedCurve>([
  { name: 'bt709' },
  { name: 'bt1886' },
  { name: 'srgb' },
  { name: 'hlg', signal_of_one: 1 },
  { name: 'pq', nits_of_one: 100 },
])('%o goes on below 0 as its own mirror', (curve) => {
  for (const code of [0.01, 0.07, 0.3, 1.05]) expect(decode(curve, -code)).toBe(-decode(curve, code));
});
