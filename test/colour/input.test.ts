/** Input transforms as people state them, and as tags do. */
import { describe, expect, test } from 'vitest';
import { evaluate } from '../../media/colour/evaluate.ts';
import {
  type InputTransform,
  inputNames,
  inputOfTags,
  inputTransformSchema,
  transformOf,
} from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { limits } from '../../media/colour/steps.ts';
import { acescctOfAp0, ap0OfAcescct } from '../../media/colour/acescct.ts';

// Codes (0.5, 0.4, 0.3) in AP0, worked with the built-in transforms of OpenColorIO 2.1.
describe('worked values', () => {
  test.each<[InputTransform, number[]]>([
    [{ name: 'slog3-sgamut3cine' }, [0.3149427, 0.170408, 0.0468549]],
    [{ name: 'slog3-sgamut3' }, [0.3422597, 0.1720434, 0.057188]],
    [{ name: 'logc3-awg3', ei: 800 }, [0.4016204, 0.2364552, 0.0648302]],
    [{ name: 'vlog-vgamut' }, [0.3069188, 0.1481281, 0.0463344]],
    [{ name: 'log3g10-rwg' }, [0.8879883, 0.4169324, -0.0254422]],
    [{ name: 'acescct' }, [0.3863971, 0.1585572, 0.0431525]],
  ])('%o', (input, wanted) => {
    // LogC3 has constants of six digits here and more of them there.
    for (const [channel, value] of evaluate(transformOf(input), 0.5, 0.4, 0.3).entries())
      expect(value).toBeCloseTo(wanted[channel] as number, 'ei' in input ? 5 : 6);
  });

  // Linear (0.5, 0.25, 0.1) by the matrices of RP 177 and Bradford adaptation, computed apart from this code (numpy).
  test.each<[InputTransform, number[]]>([
    [{ name: 'linear-bt709' }, [0.3333015, 0.2579265, 0.1237485]],
    [{ name: 'linear-bt2020' }, [0.3952894, 0.247259, 0.1040406]],
    [{ name: 'linear-p3d65' }, [0.3505119, 0.2525205, 0.1064483]],
  ])('%o', (input, wanted) => {
    for (const [channel, value] of evaluate(transformOf(input), 0.5, 0.25, 0.1).entries())
      expect(value).toBeCloseTo(wanted[channel] as number, 7);
  });
});

// Film: densities have a crosstalk of their own, and equal codes are no grey.
const withGrey = inputNames.filter((name) => !name.startsWith('adx'));
test.each(withGrey.map((name) => [name]))('%s keeps a grey grey and limits nothing', (name) => {
  const transform = transformOf(name === 'logc3-awg3' ? { name, ei: 800 } : { name });
  const [r, g, b] = evaluate(transform, 0.42, 0.42, 0.42);
  expect([g - r, b - r].every((difference) => Math.abs(difference) < 1e-12)).toBe(true);
  expect(limits(transform)).toBe(false);
});

test('a pair of curve and gamut is the named one of the same', () => {
  expect(transformOf({ curve: 'slog3', gamut: 'sgamut3cine' })).toEqual(
    transformOf({ name: 'slog3-sgamut3cine' }),
  );
  expect(transformOf({ curve: 'slog3', gamut: 'sgamut3cine', adaptation: 'bradford' })).not.toEqual(
    transformOf({ name: 'slog3-sgamut3cine' }),
  );
});

test('ACEScct and back is where it began, below black too', () => {
  const values: Triple[] = [
    [0.18, 0.18, 0.18],
    [-0.01, 0.5, 40],
    [0, 0, 0],
  ];
  for (const value of values) {
    for (const [channel, back] of evaluate(ap0OfAcescct, ...evaluate(acescctOfAp0, ...value)).entries())
      expect(back).toBeCloseTo(value[channel] as number, 10);
  }
});

describe('what is stated', () => {
  const log = {
    log: { base: 10, linSideBreak: 0.01, linSideSlope: 5 },
    primaries: { red: [0.7, 0.3], green: [0.2, 0.8], blue: [0.1, 0] },
    white: [0.3127, 0.329],
    adaptation: 'cat02',
  };
  const sha256 = 'a'.repeat(64);
  test.each<[string, unknown]>([
    ['a name', { name: 'bt709' }],
    ['a name with its exposure index', { name: 'logc3-awg3', ei: 1280 }],
    ['a white of PQ', { name: 'pq-bt2020', nits_of_one: 203 }],
    ['a pair', { curve: 'cineon', gamut: 'bt709' }],
    ['parameters', log],
    ['a file', { file: 'looks/pit.CLF', sha256, gives: 'acescct' }],
  ])('is taken: %s', (_, stated) => {
    const parsed = inputTransformSchema.parse(stated);
    expect(inputTransformSchema.parse(JSON.parse(JSON.stringify(parsed)))).toEqual(parsed);
  });

  test.each<[string, unknown]>([
    ['a name that nobody published', { name: 'log' }],
    ['LogC3 without its exposure index', { name: 'logc3-awg3' }],
    ['LogC3 in a pair without it', { curve: 'logc3', gamut: 'awg3' }],
    ['an exposure index that is not published', { name: 'logc3-awg3', ei: 850 }],
    ['an exposure index where there is none', { name: 'bt709', ei: 800 }],
    ['cd/m² where there are none', { name: 'hlg-bt2020', nits_of_one: 100 }],
    ['a name and a curve', { name: 'bt709', curve: 'bt709' }],
    [
      'primaries on one line',
      { ...log, primaries: { red: [0.1, 0.1], green: [0.2, 0.2], blue: [0.3, 0.3] } },
    ],
    ['a break without a logarithm', { ...log, log: { linSideBreak: -1 } }],
    ['a slope without a break', { ...log, log: { linearSlope: 2 } }],
    ['a file of another kind', { file: 'a.txt', sha256, gives: 'acescct' }],
    ['a file without its digest', { file: 'a.clf', gives: 'acescct' }],
    ['a file that does not say what it gives', { file: 'a.clf', sha256 }],
    ['a file that gives what needs a setting', { file: 'a.clf', sha256, gives: 'logc3-awg3' }],
  ])('is refused: %s', (_, stated) => {
    expect(inputTransformSchema.safeParse(stated).success).toBe(false);
  });

  test('a file that is not at hand cannot be used', () => {
    expect(() => transformOf({ file: 'a.clf', sha256, gives: 'acescct' })).toThrow(RangeError);
  });
});

describe('tags', () => {
  const tags = (primaries: string | null, transfer: string | null, matrix: string | null) => ({
    primaries,
    transfer,
    matrix,
    range: 'limited' as const,
  });
  test.each<[string | null, string | null, string | null, string | null]>([
    ['bt709', 'bt709', 'bt709', 'bt709'],
    ['bt709', 'bt709', null, 'bt709'],
    ['bt709', 'srgb', 'rgb', 'srgb'],
    ['bt2020', 'bt2020-10', 'bt2020', 'bt2020'],
    ['bt2020', 'bt2020-12', 'bt2020', 'bt2020'],
    ['bt2020', 'pq', 'bt2020', 'pq-bt2020'],
    ['p3-d65', 'pq', 'rgb', 'pq-p3d65'],
    ['bt2020', 'hlg', 'bt2020', 'hlg-bt2020'],
    // Silent, or of more than one meaning.
    [null, 'bt709', 'bt709', null],
    ['bt709', null, 'bt709', null],
    ['bt709', 'linear', 'rgb', null],
    [null, 'log100', 'bt709', null],
    ['bt601-525', 'bt601', 'bt601', null],
    // Contradictions.
    ['bt709', 'bt709', 'bt2020', null],
    ['bt709', 'log316', 'bt2020', null],
    ['bt709', 'pq', 'bt709', null],
    ['bt2020', 'bt709', 'bt2020', null],
  ])('%s, %s, %s: %s', (primaries, transfer, matrix, name) => {
    expect(inputOfTags(tags(primaries, transfer, matrix))).toEqual(name === null ? null : { name });
  });

  // ITU-T H.273, Table 3: V = 1 + log10(L) / 2, and / 2.5. A grey of L in primaries of D65 is a grey of AP0, within the digits of the matrix.
  test.each([
    ['log100', 'bt709', 0.5, 0.1],
    ['log100', 'bt2020', 1, 1],
    ['log316', 'bt709', 0.6, 0.1],
    ['log316', 'p3-d65', 0.2, 10 ** -2],
  ])('%s in %s: a signal of %d is light of %d', (transfer, primaries, signal, light) => {
    const input = inputOfTags(tags(primaries, transfer, null));
    if (input === null) throw new Error('no input');
    for (const channel of evaluate(transformOf(input), signal, signal, signal))
      expect(channel).toBeCloseTo(light, 6);
  });
});
