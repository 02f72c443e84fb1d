/**
 * Output transforms of ACES 2 against values made outside of the project: ctlrender with the published CTL, and an evaluation in double precision
 * in Python written after reading it (test/fixtures/SOURCES.md). ACES 1 is held against OpenColorIO in output-ocio.test.ts.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import { packageFolder } from '../../files/installation.ts';
import { gamuts } from '../../media/colour/gamuts.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { coneSet, hueOf, newAppearance, rgbOf } from '../../media/colour/output/aces2/appearance.ts';
import { compressIntoHull } from '../../media/colour/output/aces2/hull.ts';
import { aces2Of, seen, tone } from '../../media/colour/output/aces2/rendering.ts';
import { hullAt } from '../../media/colour/output/aces2/tables.ts';
import { toneScaleOf, toneScaled } from '../../media/colour/output/aces2/tone-scale.ts';
import { type Display, type Limiting, limitings } from '../../media/colour/output/displays.ts';
import {
  type Output,
  type OutputTransform,
  outputTransformId,
  prepareOutput,
} from '../../media/colour/output/index.ts';
import { outputTransformSchema } from '../../media/colour/output/schema.ts';
import { countSpecial } from '../../media/colour/output/special-values.ts';

const triple = z.tuple([z.number(), z.number(), z.number()]);
const numbers = z.array(z.number());
const values = z
  .object({
    patches: z.array(z.object({ name: z.string(), aces: triple })),
    aces2: z.record(z.string(), z.object({ encoded_float64: z.array(triple), encoded_ctl: z.array(triple) })),
    params: z.record(z.string(), z.record(z.string(), z.number())),
    tables: z.record(
      z.string(),
      z.object({
        index: numbers,
        hue: numbers,
        cusp_J: numbers,
        cusp_M: numbers,
        upper_hull_gamma: numbers,
        reach_M_at_degree: numbers,
        corner_hues: numbers,
      }),
    ),
    stages: z.record(
      z.string(),
      z.object({
        jmh_in: z.array(triple),
        jmh_tonemapped: z.array(triple),
        jmh_gamut_compressed: z.array(triple),
        limiting_linear_unclamped: z.array(triple),
      }),
    ),
  })
  .parse(JSON.parse(readFileSync(join(packageFolder, 'test/fixtures/colour/aces-output.json'), 'utf8')));

const aces2 = (peak: number, limiting: Limiting, display: Display): OutputTransform => ({
  rendering: { version: 'aces-2', peak, limiting },
  display,
});
const aces1 = (peak: number, limiting: Limiting, display: Display): OutputTransform => ({
  rendering: { version: 'aces-1', peak, limiting },
  display,
});
/** Built once for all tests of this file. */
const prepared = new Map<string, Output>();
function outputOf(transform: OutputTransform): Output {
  const key = JSON.stringify(transform);
  const output = prepared.get(key) ?? prepareOutput(transform);
  prepared.set(key, output);
  return output;
}

const presets: readonly (readonly [string, OutputTransform])[] = [
  ['Rec709-D65_100nit_in_Rec709-D65_BT1886', aces2(100, 'bt709', 'bt1886-bt709')],
  ['Rec709-D65_100nit_in_Rec709-D65_sRGB-Piecewise', aces2(100, 'bt709', 'srgb')],
  ['P3-D65_100nit_in_P3-D65_sRGB-Piecewise', aces2(100, 'p3-d65', 'srgb-p3d65')],
  ['P3-D65_1000nit_in_Rec2100-D65_ST2084', aces2(1000, 'p3-d65', 'pq-bt2020')],
  ['Rec2100-D65_1000nit_in_Rec2100-D65_ST2084', aces2(1000, 'bt2020', 'pq-bt2020')],
  ['P3-D65_1000nit_in_Rec2100-D65_HLG', aces2(1000, 'p3-d65', 'hlg-bt2020')],
];

const apart = (a: readonly number[], b: readonly number[]): number =>
  Math.max(...a.map((value, index) => Math.abs(value - (b[index] ?? Number.NaN))));

describe('values of ACES 2', () => {
  test.each(presets)('%s', (name, transform) => {
    const published = values.aces2[`Output.Academy.${name}`];
    const output = outputOf(transform);
    const wrong = values.patches.flatMap((patch, index) => {
      const got = output(patch.aces);
      const [exact, ctl] = [published?.encoded_float64[index] ?? [], published?.encoded_ctl[index] ?? []];
      const neutral = patch.aces[0] === patch.aces[1] && patch.aces[1] === patch.aces[2];
      return apart(got, exact) <= 1e-6 && apart(got, ctl) <= (neutral ? 1e-4 : 2e-3)
        ? []
        : [{ patch: patch.name, got, exact, ctl }];
    });
    expect(values.patches).toHaveLength(50);
    expect(wrong).toEqual([]);
  });

  // Colours at which a misread constant shows most, by another evaluation in double precision (Python, of 2026), to six places.
  test.each<readonly [Triple, Triple, Triple, Triple]>([
    [
      [22.3, 1.87, -0.155],
      [1, 0.760818, 0.709876],
      [0.727131, 0.592406, 0.520009],
      [0.751827, 0.596449, 0.507505],
    ],
    [
      [5.64, 0.582, -0.0426],
      [1, 0.551001, 0.456129],
      [0.721073, 0.4319, 0.108636],
      [0.726889, 0.410663, 0.000001],
    ],
    [
      [27.7, 30.4, -0.0299],
      [0.997754, 1, 0.893515],
      [0.746594, 0.750478, 0.394623],
      [0.747925, 0.751316, 0.231589],
    ],
    [
      [0.675, 0.213, 2],
      [0.649429, 0.067848, 1],
      [0.439083, 0.24459, 0.569443],
      [0.438328, 0.000001, 0.578605],
    ],
    [
      [1.13, 6.88, 0.0522],
      [0.512589, 1, 0.588999],
      [0.530506, 0.692999, 0.452721],
      [0.143109, 0.71239, 0.000001],
    ],
    [
      [26.8, 28.9, -0.028],
      [0.999342, 1, 0.885569],
      [0.746224, 0.748499, 0.42309],
      [0.748572, 0.749621, 0.12471],
    ],
  ])('%j', (colour, bt709, p3, bt2020) => {
    expect(apart(outputOf(aces2(100, 'bt709', 'bt1886-bt709'))(colour), bt709)).toBeLessThan(2e-6);
    expect(apart(outputOf(aces2(1000, 'p3-d65', 'pq-bt2020'))(colour), p3)).toBeLessThan(2e-6);
    expect(apart(outputOf(aces2(1000, 'bt2020', 'pq-bt2020'))(colour), bt2020)).toBeLessThan(2e-6);
  });

  // Documentation of ACES 2, tone scale: luminance in cd/m² of scene-linear 0.18, 1 and 2.
  test.each([
    [100, 9.9999, 45.7566, 63.9884],
    [500, 13.1929, 89.098, 158.949],
    [1000, 14.5116, 106.5639, 205.7834],
    [2000, 15.7467, 121.664, 248.7793],
    [4000, 16.8242, 133.8827, 284.4327],
  ])('tone scale of %d cd/m²', (peak, grey, one, two) => {
    const scale = toneScaleOf(peak);
    expect(toneScaled(scale, 0.18)).toBeCloseTo(grey, 3);
    expect(toneScaled(scale, 1)).toBeCloseTo(one, 3);
    expect(toneScaled(scale, 2)).toBeCloseTo(two, 3);
    expect(toneScaled(scale, scale.hit)).toBeCloseTo(peak, 6);
  });
});

describe.each<readonly [string, number, Limiting]>([
  ['sdr100_rec709', 100, 'bt709'],
  ['sdr100_p3d65', 100, 'p3-d65'],
  ['hdr1000_p3d65', 1000, 'p3-d65'],
  ['hdr1000_rec2020', 1000, 'bt2020'],
])('inside ACES 2: %s', (key, peak, limiting) => {
  const rendering = aces2Of(peak, limiting);

  test('parameters', () => {
    const { toneScale, hull, chroma, forwardLimit } = rendering;
    const wanted = values.params[key] ?? {};
    const got = {
      c_t: toneScale.grey,
      s_2: toneScale.s2,
      m_2: toneScale.m2,
      forward_limit: forwardLimit,
      limit_J_max: hull.most,
      mid_J: hull.middle,
      focus_dist: hull.focusDistance,
      lower_hull_gamma: 1 / hull.lowerPower,
      sat: chroma.saturation,
      sat_thr: chroma.saturationThreshold,
      compr: chroma.compression,
      chroma_compress_scale: chroma.scale,
    };
    for (const [name, value] of Object.entries(got)) {
      const published = wanted[name] ?? Number.NaN;
      expect(Math.abs(value - published), name).toBeLessThanOrEqual(1e-8 * Math.abs(published));
    }
  });

  test('tables', () => {
    const wanted = values.tables[key];
    const { tables } = rendering;
    const rows = (table: Float64Array): number[] =>
      (wanted?.index ?? []).map((row) => table[row] ?? Number.NaN);
    expect(apart(rows(tables.hue), wanted?.hue ?? [])).toBeLessThan(1e-4);
    expect(apart(rows(tables.cuspLightness), wanted?.cusp_J ?? [])).toBeLessThan(1e-4);
    expect(apart(rows(tables.cuspColourfulness), wanted?.cusp_M ?? [])).toBeLessThan(1e-4);
    expect(
      apart(
        rows(tables.upperPower).map((power) => 1 / power),
        wanted?.upper_hull_gamma ?? [],
      ),
    ).toBeLessThan(1e-6);
    expect(apart(rows(tables.reach), wanted?.reach_M_at_degree ?? [])).toBeLessThan(1e-4);
    // Every corner of both cubes is a row.
    const corners = wanted?.corner_hues ?? [];
    expect(corners).toHaveLength(12);
    expect(
      corners.map((hue) => Math.min(...tables.hue.map((row) => Math.abs(row - hue)))).filter((d) => d > 1e-4),
    ).toEqual([]);
  });

  test('lightness, colourfulness and hue at every stage', () => {
    const wanted = values.stages[key];
    const hueHull = { cuspLightness: 0, cuspColourfulness: 0, upperPower: 0, reach: 0 };
    const wrong = values.patches.flatMap((patch, index) => {
      const colour = seen(rendering, [...patch.aces], newAppearance());
      const hue = hueOf(colour);
      const stages: Triple[] = [[colour.lightness, colour.colourfulness, hue]];
      tone(rendering, colour, hue);
      stages.push([colour.lightness, colour.colourfulness, hue]);
      hullAt(rendering.tables, hue, hueHull);
      compressIntoHull(rendering.hull, hueHull, colour);
      stages.push([colour.lightness, colour.colourfulness, hue]);
      const rgb: [number, number, number] = [0, 0, 0];
      rgbOf(rendering.limit, colour, rgb);
      stages.push(rgb);
      const published = [
        wanted?.jmh_in[index],
        wanted?.jmh_tonemapped[index],
        wanted?.jmh_gamut_compressed[index],
        wanted?.limiting_linear_unclamped[index],
      ];
      return stages.flatMap((stage, at) => {
        const [j, m, h] = published[at] ?? [Number.NaN, Number.NaN, Number.NaN];
        // Seven digits are printed, and a neutral has no hue.
        const budget = 2e-6 * Math.max(1, ...stage.map(Math.abs));
        const third = at < 3 && m < 1e-9 ? stage[2] : h;
        return apart(stage, [j, m, third]) <= budget
          ? []
          : [{ patch: patch.name, at, stage, published: published[at] }];
      });
    });
    expect(wrong).toEqual([]);
  });
});

// No outside values have these peaks: corners of the two cubes fall on one row, and one of them gives way.
test.each(
  ([150, 500, 1000, 2222, 4000] as const).flatMap((peak) =>
    limitings.map((limiting) => [peak, limiting] as const),
  ),
)('rows ascend and every table has a number at %d cd/m², %s', (peak, limiting) => {
  const { tables } = aces2Of(peak, limiting);
  const { hue } = tables;
  expect(hue[0]).toBe(0);
  expect(hue.at(-1)).toBe(360);
  expect(hue.slice(1).every((degrees, row) => degrees > (hue[row] ?? Number.NaN))).toBe(true);
  for (const table of [tables.reach, tables.cuspLightness, tables.cuspColourfulness, tables.upperPower])
    expect(table.every((value) => value > 0 && Number.isFinite(value))).toBe(true);
});

test('cones of AP0 and of BT.709, by the evaluation in Python', () => {
  expect(
    apart(
      coneSet(gamuts.ap0).toCones.flat(),
      [
        0.44518101, 0.34964925, -0.00112974, 0.12373411, 0.61364362, 0.0563228, 0.01170073, 0.02806079,
        0.75393901,
      ],
    ),
  ).toBeLessThan(1e-8);
  expect(
    apart(
      coneSet(gamuts.bt709).fromCones.flat(),
      [
        7.45048516, -6.13018329, -0.06038083, -1.47506709, 3.1183572, -0.38336906, 0.01062887, -0.31857283,
        1.567865,
      ],
    ),
  ).toBeLessThan(1e-8);
});

/** One of every kind. */
const kinds: readonly OutputTransform[] = [
  ...presets.map(([, transform]) => transform),
  aces2(100, 'bt709', 'pq-bt2020'),
  aces2(433, 'bt2020', 'pq-bt2020'),
  aces2(4000, 'bt2020', 'pq-bt2020'),
  aces1(100, 'bt709', 'bt1886-bt709'),
  aces1(100, 'p3-d65', 'srgb-p3d65'),
  aces1(1000, 'p3-d65', 'pq-bt2020'),
  aces1(4000, 'bt2020', 'pq-bt2020'),
  aces1(1000, 'bt2020', 'hlg-bt2020'),
];

describe.each(kinds.map((transform) => [JSON.stringify(transform), transform] as const))(
  '%s',
  (_, transform) => {
    test('gives codes from 0 to 1 for anything', () => {
      const output = outputOf(transform);
      const any = fc.oneof(
        fc.double(),
        fc.double({ min: -0.1, max: 20 }),
        fc.constantFrom(0, -0, 1, 5e-324, 65504, -65504, 1e300),
      );
      fc.assert(
        fc.property(fc.tuple(any, any, any), (rgb) => output(rgb).every((code) => code >= 0 && code <= 1)),
        { numRuns: 500 },
      );
    });

    test('gives neutrals one code, and brighter ones no lower code', () => {
      const output = outputOf(transform);
      // ACES 1 limits high dynamic range before it adapts the white, so its last stop is not neutral.
      const most = transform.rendering.version === 'aces-1' && transform.rendering.peak > 100 ? 16 : 65504;
      let before = -1;
      for (let linear = 2 ** -14; linear <= most; linear *= 1.05) {
        const [r, g, b] = output([linear, linear, linear]);
        expect(Math.max(r, g, b) - Math.min(r, g, b)).toBeLessThan(1e-9);
        expect(g).toBeGreaterThanOrEqual(before - 1e-12);
        before = g;
      }
      expect(before).toBeGreaterThan(0.5);
    });
  },
);

test('no number counts as 0, and infinity as the greatest 16-bit float; both are counted', () => {
  const output = outputOf(aces2(100, 'bt709', 'srgb'));
  expect(output([Number.NaN, 0.2, 0.3])).toEqual(output([0, 0.2, 0.3]));
  const infinite = Number.POSITIVE_INFINITY;
  expect(Math.min(...output([infinite, infinite, infinite]))).toBeCloseTo(1, 12);
  expect(output([infinite, 0.2, -infinite])).toEqual(output([65504, 0.2, -65504]));
  expect(countSpecial(Float32Array.of(0, Number.NaN, infinite, 65504, -infinite, 1, Number.NaN))).toEqual({
    nans: 2,
    infinities: 2,
  });
});

test('writes into what it is given, and leaves the colour as it was', () => {
  const output = outputOf(aces2(100, 'bt709', 'srgb'));
  const colour: Triple = Object.freeze([0.2, 0.1, 0.4] as const);
  const into: [number, number, number] = [9, 9, 9];
  expect(output(colour, into)).toBe(into);
  expect(into).toEqual(output(colour));
  const own: [number, number, number] = [...colour];
  expect(output(own, own)).toEqual(into);
});

describe('what is refused', () => {
  test.each<readonly [OutputTransform, RegExp]>([
    [aces2(100, 'p3-d65', 'srgb'), /primaries of bt709/],
    [aces2(100, 'bt2020', 'srgb-p3d65'), /primaries of p3-d65/],
    [aces2(1000, 'bt709', 'bt1886-bt709'), /100 cd/],
    [aces2(2000, 'p3-d65', 'hlg-bt2020'), /1000 cd/],
    [aces1(100, 'bt709', 'srgb-p3d65'), /limit p3-d65/],
    [aces1(500, 'p3-d65', 'pq-bt2020'), /1000, 2000, 4000/],
    [aces1(1000, 'bt709', 'pq-bt2020'), /p3-d65 or bt2020/],
    [aces1(2000, 'bt2020', 'hlg-bt2020'), /1000 cd/],
  ])('%j', (transform, message) => {
    const result = outputTransformSchema.safeParse(transform);
    expect(result.success).toBe(false);
    expect(result.error?.issues.map((issue) => issue.message).join()).toMatch(message);
    expect(() => prepareOutput(transform)).toThrow(RangeError);
  });

  test.each([
    [99, 'bt2020'],
    [4001, 'bt2020'],
    [Number.NaN, 'bt2020'],
    [1000, 'xyz'],
  ])('a peak of %d and limit %s', (peak, limiting) => {
    const transform = { rendering: { version: 'aces-2', peak, limiting }, display: 'pq-bt2020' };
    expect(outputTransformSchema.safeParse(transform).success).toBe(false);
  });

  test.each(kinds)('not %j', (transform) => {
    expect(outputTransformSchema.parse(transform)).toEqual(transform);
  });
});

// aces-aswf/aces, transforms.json (v2.0.0+2025.04.04), outputs with the white D65 for displays of BT.709, P3-D65 with sRGB and BT.2100; and v1.3.1.
const registered: readonly string[] = [
  ...[500, 1000, 2000, 4000].flatMap((peak) =>
    ['P3-D65', 'Rec2100-D65'].map((limit) => `${limit}_${peak}nit_in_Rec2100-D65_ST2084`),
  ),
  'P3-D65_1000nit_in_Rec2100-D65_HLG',
  'P3-D65_100nit_in_P3-D65_sRGB-Piecewise',
  'Rec709-D65_100nit_in_P3-D65_sRGB-Piecewise',
  'Rec709-D65_100nit_in_Rec2100-D65_ST2084',
  'Rec709-D65_100nit_in_Rec709-D65_BT1886',
  'Rec709-D65_100nit_in_Rec709-D65_sRGB-Piecewise',
].map((name) => `urn:ampas:aces:transformId:v2.0:Output.Academy.${name}.a2.v1`);
const registeredOf1 = [
  '1000nits_15nits_HLG',
  '1000nits_15nits_ST2084',
  '2000nits_15nits_ST2084',
  '4000nits_15nits_ST2084',
].map((name) => `urn:ampas:aces:transformId:v1.5:RRTODT.Academy.Rec2020_${name}.a1.1.0`);

test('identifiers are those of the registry, each of one transform, and others have none', () => {
  const displays = ['bt1886-bt709', 'srgb', 'srgb-p3d65', 'pq-bt2020', 'hlg-bt2020'] as const;
  const every = (['aces-2', 'aces-1'] as const).flatMap((version) =>
    [100, 225, 500, 1000, 2000, 4000].flatMap((peak) =>
      limitings.flatMap((limiting) =>
        displays.map((display) => ({ rendering: { version, peak, limiting }, display })),
      ),
    ),
  );
  const possible = every.filter((transform) => outputTransformSchema.safeParse(transform).success);
  const found = possible.map(outputTransformId).filter((id) => id !== null);
  expect(found.toSorted()).toEqual([...registered, ...registeredOf1].toSorted());
  for (const [name, transform] of presets)
    expect(outputTransformId(transform)).toBe(`urn:ampas:aces:transformId:v2.0:Output.Academy.${name}.a2.v1`);
  expect(outputTransformId(aces1(100, 'bt709', 'bt1886-bt709'))).toBeNull();
  expect(outputTransformId(aces2(433, 'bt2020', 'pq-bt2020'))).toBeNull();
});
