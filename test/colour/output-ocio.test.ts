/** ACES 1 and the reference gamut compression against the built-in transforms of OpenColorIO (2.1 and newer), over random colours. */
import { expect, test } from 'vitest';
import type { Triple } from '../../media/colour/matrix.ts';
import { compressGamut } from '../../media/colour/output/gamut-compression.ts';
import { prepareOutput } from '../../media/colour/output/index.ts';
import type { OutputTransform } from '../../media/colour/output/schema.ts';
import { freshFolder } from '../support/folder.ts';
import { ocioConfigOf, throughOcioEach } from '../support/pictures.ts';

/** The same numbers on every run (an LCG of Numerical Recipes), 0 to below 1. */
function sequence(): () => number {
  let state = 20251130;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

/** Of every brightness from 2^-10 to 2^8, a third of them with a negative channel, and greys. */
function colours(count: number): Triple[] {
  const next = sequence();
  return Array.from({ length: count }, (_, index): Triple => {
    const level = 2 ** (-10 + 18 * next());
    const [r, g, b] = [next(), next(), next()].map((part) => Math.fround(level * part ** 1.5)) as [
      number,
      number,
      number,
    ];
    if (index % 8 === 0) return [r, r, r];
    return index % 3 === 0 ? [r, g, Math.fround(-0.1 * b)] : [r, g, b];
  });
}

const builtIn = (...styles: readonly string[]): string =>
  `!<GroupTransform> {children: [${styles.map((style) => `!<BuiltinTransform> {style: "${style}"}`).join(', ')}]}`;
const output = (name: string, display: string): string =>
  builtIn(`ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - ${name}`, `DISPLAY - CIE-XYZ-D65_to_${display}`);

const rows: readonly (readonly [string, OutputTransform, string])[] = [
  [
    'SDR, BT.709',
    { rendering: { version: 'aces-1', peak: 100, limiting: 'bt709' }, display: 'bt1886-bt709' },
    output('SDR-VIDEO_1.0', 'REC.1886-REC.709'),
  ],
  [
    'SDR, sRGB',
    { rendering: { version: 'aces-1', peak: 100, limiting: 'bt709' }, display: 'srgb' },
    output('SDR-VIDEO_1.0', 'sRGB'),
  ],
  ...([1000, 2000, 4000] as const).flatMap((peak) =>
    (
      [
        ['p3-d65', 'P3lim'],
        ['bt2020', 'REC2020lim'],
      ] as const
    ).map(
      ([limiting, name]) =>
        [
          `${peak} cd/m², ${limiting}`,
          { rendering: { version: 'aces-1', peak, limiting }, display: 'pq-bt2020' },
          output(`HDR-VIDEO-${peak}nit-15nit-${name}_1.1`, 'REC.2100-PQ'),
        ] as const,
    ),
  ),
  [
    'HLG',
    { rendering: { version: 'aces-1', peak: 1000, limiting: 'bt2020' }, display: 'hlg-bt2020' },
    output('HDR-VIDEO-1000nit-15nit-REC2020lim_1.1', 'REC.2100-HLG-1000nit'),
  ],
];

const none: Triple = [Number.NaN, Number.NaN, Number.NaN];

/** Of one colour: the greatest difference of a code value; theirs are not limited. */
const apart = (ours: Triple, theirs: Triple): number =>
  Math.max(...([0, 1, 2] as const).map((c) => Math.abs(ours[c] - Math.min(Math.max(theirs[c], 0), 1))));

/**
 * OpenColorIO looks tone curves up in tables, and its float32 counts most where a channel comes near 0. Two things it does otherwise than
 * the published CTL, both in the dark: it takes the saturation for the red modifier after the glow, which shows where no channel is above
 * 0.01; and it keeps the luminance by which HLG is scaled from falling near 0, where blues differ most.
 */
const budgetOf = ({ display }: OutputTransform, colour: Triple): number => {
  const most = Math.max(...colour);
  if (display === 'hlg-bt2020') return most > 0.1 ? 5e-4 : 1e-2;
  return most > 0.01 ? 2e-4 : 1.2e-3;
};

test('ACES 1 and the reference gamut compression give what OpenColorIO gives', async () => {
  const given = colours(4000);
  const found = await throughOcioEach(
    freshFolder(),
    // The gamut compression came with version 2.1 of the form.
    ocioConfigOf([
      ...rows.map(([, , transform]) => transform),
      builtIn('ACES-LMT - ACES 1.3 Reference Gamut Compression'),
    ]).replace('ocio_profile_version: 2', 'ocio_profile_version: 2.1'),
    [...rows.keys(), rows.length].map((index) => ['--colorconvert', `source-${index}`, 'reference']),
    given,
  );
  expect(found.map((pixels) => pixels.length)).toEqual(Array(rows.length + 1).fill(given.length));
  for (const [index, [name, transform]] of rows.entries()) {
    const convert = prepareOutput(transform);
    const wrong = given.flatMap((colour, place) => {
      const ours = convert(colour);
      const theirs = found[index]?.[place] ?? none;
      return apart(ours, theirs) <= budgetOf(transform, colour) ? [] : [{ name, colour, ours, theirs }];
    });
    expect(wrong.slice(0, 5)).toEqual([]);
  }
  const wrong = given.flatMap((colour, place) => {
    const theirs = found.at(-1)?.[place] ?? none;
    const ours = compressGamut(colour);
    const budget = 3e-7 * Math.max(...colour.map(Math.abs));
    return ours.every((value, channel) => Math.abs(value - (theirs[channel] ?? Number.NaN)) <= budget)
      ? []
      : [{ colour, ours, theirs }];
  });
  expect(wrong.slice(0, 5)).toEqual([]);
  // Colours that it moves, and colours that it leaves alone, are both among them.
  const moved = given.filter((colour) => Math.abs(compressGamut(colour)[1] - colour[1]) > 0.01 * colour[0]);
  expect(moved.length).toBeGreaterThan(100);
  expect(moved.length).toBeLessThan(given.length - 100);
});
