/** Our transforms against OpenColorIO (2.1 and newer), by way of oiiotool, over ramps that go below black and above white. */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { evaluate } from '../../media/colour/evaluate.ts';
import { type InputTransform, transformOf } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { acescctOfAp0 } from '../../media/colour/acescct.ts';
import type { ColourTransform } from '../../media/colour/steps.ts';
import { sharedFolder } from '../support/folder.ts';
import { ocioConfigOf, outputOf, throughOcio, toReference } from '../support/pictures.ts';

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
  {
    relative = 4e-5,
    least = Number.NEGATIVE_INFINITY,
  }: { readonly relative?: number | undefined; readonly least?: number | undefined },
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

/** What OpenColorIO is asked: all at once, since a start of its program takes longer than a conversion. */
interface Case {
  readonly title: string;
  /** Of the whole name; or the end of that of a built-in transform. The names begin with the maker; only the endings are matched. */
  readonly stone: string | { readonly ending: string; readonly direction?: 'inverse' };
  readonly pixels: readonly Triple[];
  readonly transform: ColourTransform;
  readonly relative?: number;
  readonly least?: number;
}

const named = (
  input: InputTransform,
  ending: string,
  [low, high]: readonly [number, number],
  least?: number,
): Case => ({
  title: JSON.stringify(input),
  stone: { ending },
  pixels: ramp(low, high),
  transform: transformOf(input),
  ...(least === undefined ? {} : { least }),
});
const inputs: readonly Case[] = [
  named({ name: 'slog3-sgamut3cine' }, 'SLOG3-SGAMUT3.CINE_to_ACES2065-1', [-0.1, 1.1]),
  named({ name: 'slog3-sgamut3' }, 'SLOG3-SGAMUT3_to_ACES2065-1', [-0.1, 1.1]),
  named({ name: 'logc3-awg3', ei: 800 }, 'LOGC-EI800-AWG_to_ACES2065-1', [-0.1, 1.1]),
  named({ name: 'vlog-vgamut' }, 'VLOG-VGAMUT_to_ACES2065-1', [-0.1, 1.1]),
  named({ name: 'log3g10-rwg' }, 'LOG3G10-RWG_to_ACES2065-1', [-0.1, 1.1]),
  named({ name: 'redlogfilm-rwg' }, 'REDLOGFILM-RWG_to_ACES2065-1', [-0.1, 1.1]),
  // It has whole codes of 10 bits in 0 to 1 of full scale, as a file brings them.
  named({ name: 'acesproxy10' }, 'ACESproxy10i_to_ACES2065-1', [64 / 1023, 940 / 1023]),
  // It limits light at 65504 and codes at what gives that: the ramp ends before.
  named({ name: 'acescct' }, 'ACEScct_to_ACES2065-1', [-0.1, 1.3]),
  // It limits AP0 at 0.
  named({ name: 'acescc' }, 'ACEScc_to_ACES2065-1', [-0.35, 1.3], 0),
  named({ name: 'acescg' }, 'ACEScg_to_ACES2065-1', [-2, 100]),
];

/** It takes the table of densities through one of half floats, and lets it go on below its first place to 10^-10 instead of 10^-6. */
const densities: readonly Case[] = (
  [
    ['adx10', 0.9],
    // Above, it ends at 65504.
    ['adx16', 0.42],
  ] as const
).map(([name, high]) => ({
  ...named({ name }, `${name.toUpperCase()}_to_ACES2065-1`, [0.02, high]),
  title: name,
  relative: 2e-3,
}));

/** The first step alone. */
const curve = (input: InputTransform): ColourTransform => ({ steps: transformOf(input).steps.slice(0, 1) });
const curves: readonly Case[] = [
  {
    title: 'PQ, 100 cd/m² as 1.0',
    transform: curve({ name: 'pq-bt2020' }),
    stone: '!<BuiltinTransform> {style: CURVE - ST-2084_to_LINEAR}',
    pixels: ramp(0.01, 1),
    // The difference of numbers near to each other: float32 keeps less of it.
    relative: 2e-4,
  },
  {
    title: 'sRGB',
    transform: curve({ name: 'srgb' }),
    stone: '!<ExponentWithLinearTransform> {gamma: 2.4, offset: 0.055, style: mirror}',
    pixels: ramp(-0.2, 1.2),
  },
  {
    title: 'BT.1886',
    transform: curve({ name: 'bt1886-bt709' }),
    stone: '!<ExponentTransform> {value: 2.4, style: mirror}',
    pixels: ramp(-0.2, 1.2),
  },
  {
    title: "LogC4, by the parameters that make its paper's formula a logarithm with a straight part",
    transform: curve({ name: 'logc4-awg4' }),
    stone:
      '!<LogCameraTransform> {base: 2, log_side_slope: 0.0647954196341293, log_side_offset: -0.295908392682586, lin_side_slope: 2231.82630906769, lin_side_offset: 64, lin_side_break: -0.0180569961199113, direction: inverse}',
    pixels: ramp(-0.1, 1.1),
  },
  {
    title: 'parameters of a log curve with its straight part',
    transform: curve({
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
    stone:
      '!<LogCameraTransform> {base: 10, log_side_slope: 0.256663, log_side_offset: 0.584555, lin_side_slope: 0.9892, lin_side_offset: 0.0108, lin_side_break: 0.0078, linear_slope: 6.025, direction: inverse}',
    pixels: ramp(-0.1, 1.1),
  },
  {
    title: 'Cineon, by its parameters without a straight part',
    transform: curve({ curve: 'cineon', gamut: 'bt709' }),
    stone:
      '!<LogAffineTransform> {base: 10, log_side_slope: 0.29325513196, log_side_offset: 0.66959921799, lin_side_slope: 0.98920224838, lin_side_offset: 0.01079775162, direction: inverse}',
    pixels: ramp(-0.1, 1.1),
  },
];

const toAcescct: Case = {
  title: 'AP0 to ACEScct',
  stone: { ending: 'ACEScct_to_ACES2065-1', direction: 'inverse' },
  pixels: ramp(-0.05, 40),
  transform: acescctOfAp0,
};

const found = new Map<string, readonly Triple[]>();
beforeAll(async () => {
  const names = await builtInNames();
  const stones = cases.map(({ stone }) => {
    if (typeof stone === 'string') return stone;
    const styles = names.filter((name) => name.endsWith(stone.ending));
    if (styles.length !== 1)
      throw new Error(`built-in transforms that end in ${stone.ending}: ${styles.join(', ')}`);
    return `!<BuiltinTransform> {style: ${styles[0]}, direction: ${stone.direction ?? 'forward'}}`;
  });
  const folder = mkdtempSync(join(sharedFolder, 'ocio-'));
  const converted = await throughOcio(
    folder,
    ocioConfigOf(stones),
    cases.map(({ pixels }, index) => ({ args: toReference(index), pixels })),
  );
  for (const [index, { title }] of cases.entries()) found.set(title, converted[index] as Triple[]);
  rmSync(folder, { recursive: true });
});
const cases = [...inputs, ...densities, ...curves, toAcescct];

function asOpenColorIo({ title, pixels, transform, relative, least }: Case): void {
  same(found.get(title) ?? [], pixels, transform, { relative, least });
}

describe("named inputs are OpenColorIO's built-in transforms", () => {
  test.each(inputs)('$title', asOpenColorIo);
});

test.each(densities)('$title is the built-in transform of that name', asOpenColorIo);

/** Curves of which it has no built-in transform to AP0, or another reference: curves alone, from its own building stones. */
describe('curves are what OpenColorIO makes of their definition', () => {
  test.each(curves)('$title', asOpenColorIo);
});

test("AP0 to ACEScct is OpenColorIO's, from below black to far above white", () => asOpenColorIo(toAcescct));
