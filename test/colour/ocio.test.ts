/** Our transforms against OpenColorIO (2.1 and newer), by way of oiiotool, over ramps that go below black and above white. */
import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import { evaluate } from '../../media/colour/evaluate.ts';
import { type InputTransform, transformOf } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { acescctOfAp0 } from '../../media/colour/acescct.ts';
import type { ColourTransform } from '../../media/colour/steps.ts';
import { freshFolder } from '../support/folder.ts';
import { ocioConfig, outputOf, throughOcio, toReference } from '../support/pictures.ts';

/** Greys and colours of the whole range, float32 exactly. */
function ramp(low: number, high: number): Triple[] {
  const at = (index: number): number => Math.fround(low + ((high - low) * index) / 255);
  const greys = Array.from({ length: 256 }, (_, index): Triple => [at(index), at(index), at(index)]);
  const colours = Array.from(
    { length: 256 },
    (_, index): Triple => [at(index), at((index * 7 + 31) % 256), at((index * 13 + 101) % 256)],
  );
  return [...greys, ...colours];
}

/**
 * OpenColorIO works in float32 and approximates logarithms and powers: 4e-5 of the pixel's greatest value, and 2e-6 near 0,
 * is what it keeps of double precision here, and far below what another constant in a curve or matrix would give.
 */
function same(
  found: readonly Triple[],
  pixels: readonly Triple[],
  transform: ColourTransform,
  relative = 4e-5,
  least = Number.NEGATIVE_INFINITY,
): void {
  expect(found).toHaveLength(pixels.length);
  const wrong = pixels.flatMap((pixel, index) => {
    const wanted = evaluate(transform, ...pixel).map((value) => Math.max(value, least));
    const budget = relative * Math.max(...wanted.map(Math.abs)) + 2e-6;
    const differs = wanted.some(
      (value, channel) => !(Math.abs(value - ((found[index] as Triple)[channel] as number)) <= budget),
    );
    return differs ? [{ pixel, wanted, found: found[index] }] : [];
  });
  expect(wrong).toEqual([]);
}

/** Names of OpenColorIO's built-in transforms to AP0, read from its library. */
async function builtInNames(): Promise<readonly string[]> {
  const libraries = (await outputOf('sh', ['-c', 'ldd "$(command -v ociochecklut)"'])).toString('utf8');
  const path = /=> (\S*libOpenColorIO\S*)/.exec(libraries)?.[1];
  if (path === undefined) throw new Error(`no OpenColorIO library in\n${libraries}`);
  const named = readFileSync(path)
    .toString('latin1')
    .match(/[A-Z][\w.-]+_to_ACES2065-1/g);
  return [...new Set(named ?? [])];
}
let names: readonly string[] = [];
beforeAll(async () => {
  names = await builtInNames();
});

/** The one whose name ends so. The names begin with the maker; only the endings are matched. */
function builtIn(ending: string): string {
  const found = names.filter((name) => name.endsWith(ending));
  if (found.length !== 1) throw new Error(`built-in transforms that end in ${ending}: ${found.join(', ')}`);
  return found[0] as string;
}

describe("named inputs are OpenColorIO's built-in transforms", () => {
  test.each<[InputTransform, string, number, number, number?]>([
    [{ name: 'slog3-sgamut3cine' }, 'SLOG3-SGAMUT3.CINE_to_ACES2065-1', -0.1, 1.1],
    [{ name: 'slog3-sgamut3' }, 'SLOG3-SGAMUT3_to_ACES2065-1', -0.1, 1.1],
    [{ name: 'logc3-awg3', ei: 800 }, 'LOGC-EI800-AWG_to_ACES2065-1', -0.1, 1.1],
    [{ name: 'vlog-vgamut' }, 'VLOG-VGAMUT_to_ACES2065-1', -0.1, 1.1],
    [{ name: 'log3g10-rwg' }, 'LOG3G10-RWG_to_ACES2065-1', -0.1, 1.1],
    [{ name: 'redlogfilm-rwg' }, 'REDLOGFILM-RWG_to_ACES2065-1', -0.1, 1.1],
    // It has whole codes of 10 bits in 0 to 1 of full scale, as a file brings them.
    [{ name: 'acesproxy10' }, 'ACESproxy10i_to_ACES2065-1', 64 / 1023, 940 / 1023],
    // It limits light at 65504 and codes at what gives that: the ramp ends before.
    [{ name: 'acescct' }, 'ACEScct_to_ACES2065-1', -0.1, 1.3],
    // It limits AP0 at 0.
    [{ name: 'acescc' }, 'ACEScc_to_ACES2065-1', -0.35, 1.3, 0],
    [{ name: 'acescg' }, 'ACEScg_to_ACES2065-1', -2, 100],
  ])('%o', async (input, ending, low, high, least) => {
    const pixels = ramp(low, high);
    const config = ocioConfig(`!<BuiltinTransform> {style: ${builtIn(ending)}}`);
    same(
      await throughOcio(freshFolder('ocio'), config, toReference, pixels),
      pixels,
      transformOf(input),
      undefined,
      least,
    );
  });
});

/** It takes the table of densities through one of half floats, and lets it go on below its first place to 10^-10 instead of 10^-6. */
test.each([
  ['adx10', 0.9],
  // Above, it ends at 65504.
  ['adx16', 0.42],
] as const)('%s is the built-in transform of that name', async (name, high) => {
  const pixels = ramp(0.02, high);
  const config = ocioConfig(`!<BuiltinTransform> {style: ${builtIn(`${name.toUpperCase()}_to_ACES2065-1`)}}`);
  same(
    await throughOcio(freshFolder('ocio'), config, toReference, pixels),
    pixels,
    transformOf({ name }),
    2e-3,
  );
});

/** Curves of which it has no built-in transform to AP0, or another reference: curves alone, from its own building stones. */
describe('curves are what OpenColorIO makes of their definition', () => {
  const curve = (input: InputTransform): ColourTransform => ({ steps: transformOf(input).steps.slice(0, 1) });
  test.each<[string, ColourTransform, string, number, number]>([
    [
      'PQ, 100 cd/m² as 1.0',
      curve({ name: 'pq-bt2020' }),
      '!<BuiltinTransform> {style: CURVE - ST-2084_to_LINEAR}',
      0.01,
      1,
    ],
    [
      'sRGB',
      curve({ name: 'srgb' }),
      '!<ExponentWithLinearTransform> {gamma: 2.4, offset: 0.055, style: mirror}',
      -0.2,
      1.2,
    ],
    [
      'BT.1886',
      curve({ name: 'bt1886-bt709' }),
      '!<ExponentTransform> {value: 2.4, style: mirror}',
      -0.2,
      1.2,
    ],
    [
      "LogC4, by the parameters that make its paper's formula a logarithm with a straight part",
      curve({ name: 'logc4-awg4' }),
      '!<LogCameraTransform> {base: 2, log_side_slope: 0.0647954196341293, log_side_offset: -0.295908392682586, lin_side_slope: 2231.82630906769, lin_side_offset: 64, lin_side_break: -0.0180569961199113, direction: inverse}',
      -0.1,
      1.1,
    ],
    [
      'parameters of a log curve with its straight part',
      curve({
        log: {
          base: 10,
          logSideSlope: 0.256663,
          logSideOffset: 0.584555,
          linSideSlope: 0.9892,
          linSideOffset: 0.0108,
          linSideBreak: 0.0078,
          linearSlope: 6.025,
        },
        primaries: { red: [0.7, 0.3], green: [0.2, 0.8], blue: [0.1, 0] },
        white: [0.3127, 0.329],
        adaptation: 'cat02',
      }),
      '!<LogCameraTransform> {base: 10, log_side_slope: 0.256663, log_side_offset: 0.584555, lin_side_slope: 0.9892, lin_side_offset: 0.0108, lin_side_break: 0.0078, linear_slope: 6.025, direction: inverse}',
      -0.1,
      1.1,
    ],
    [
      'Cineon, by its parameters without a straight part',
      curve({ curve: 'cineon', gamut: 'bt709' }),
      '!<LogAffineTransform> {base: 10, log_side_slope: 0.29325513196, log_side_offset: 0.66959921799, lin_side_slope: 0.98920224838, lin_side_offset: 0.01079775162, direction: inverse}',
      -0.1,
      1.1,
    ],
  ])('%s', async (_, transform, stone, low, high) => {
    const pixels = ramp(low, high);
    // PQ is the difference of numbers near to each other: float32 keeps less of it.
    const relative = stone.includes('ST-2084') ? 2e-4 : 4e-5;
    same(
      await throughOcio(freshFolder('ocio'), ocioConfig(stone), toReference, pixels),
      pixels,
      transform,
      relative,
    );
  });
});

test("AP0 to ACEScct is OpenColorIO's, from below black to far above white", async () => {
  const pixels = ramp(-0.05, 40);
  const config = ocioConfig('!<BuiltinTransform> {style: ACEScct_to_ACES2065-1, direction: inverse}');
  same(await throughOcio(freshFolder('ocio'), config, toReference, pixels), pixels, acescctOfAp0);
});
