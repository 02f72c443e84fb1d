/** Tables of output transforms against the transforms themselves, by ΔE_ITP (ITU-R BT.2124) over colours as pictures have them. */
import { beforeAll, describe, expect, test } from 'vitest';
import { cdlInAcescct } from '../../media/colour/cdl.ts';
import { decode, encode } from '../../media/colour/curves.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { ap0ToAp1, between, gamuts } from '../../media/colour/gamuts.ts';
import { type Triple, apply, invert } from '../../media/colour/matrix.ts';
import type { Display } from '../../media/colour/output/displays.ts';
import { type Output, type OutputTransform, prepareOutput } from '../../media/colour/output/index.ts';
import { type OutputTable, domainOf, tableOf } from '../../media/colour/output/table.ts';
import { PictureKernel } from '../../media/colour/picture.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { further } from '../support/lane.ts';

const toAp0 = invert(ap0ToAp1);

/** The same numbers on every run. */
function sequence(): { uniform: () => number; normal: () => number } {
  let state = 12345;
  const uniform = (): number => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
  return {
    uniform,
    normal: () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform()),
  };
}

/** Linear AP0: brightness spread by 2.2 stops about grey, each channel of AP1 by half a stop about that. */
function pictureLike(count: number): Triple[] {
  const { normal } = sequence();
  return Array.from({ length: count }, () => {
    const level = 0.18 * 2 ** (2.2 * normal());
    return apply(toAp0, [
      level * 2 ** (0.5 * normal()),
      level * 2 ** (0.5 * normal()),
      level * 2 ** (0.5 * normal()),
    ]);
  });
}

const toBt2020 = {
  bt709: between(gamuts.bt709, gamuts.bt2020, 'bradford'),
  p3d65: between(gamuts.p3d65, gamuts.bt2020, 'bradford'),
};
/** Light of the display in BT.2020, cd/m². */
function lightOf(display: Display, [r, g, b]: Triple): Triple {
  const each = (curve: (code: number) => number): Triple => [curve(r), curve(g), curve(b)];
  if (display === 'bt2020-pq') return each((code) => decode({ name: 'pq', nits_of_one: 1 }, code));
  const name = display === 'bt709-bt1886' ? 'bt1886' : 'srgb';
  const light = each((code) => 100 * decode({ name }, code));
  return apply(display === 'p3-d65-srgb' ? toBt2020.p3d65 : toBt2020.bt709, light);
}
/** I, T and P of ITU-R BT.2124 from linear BT.2020 in cd/m², with the matrices of BT.2100. */
function itpOf(light: Triple): Triple {
  const signal = (a: number, b: number, c: number): number =>
    encode({ name: 'pq', nits_of_one: 1 }, Math.max(a * light[0] + b * light[1] + c * light[2], 0) / 4096);
  const [l, m, s] = [signal(1688, 2146, 262), signal(683, 2951, 462), signal(99, 309, 3688)];
  return [
    (l + m) / 2,
    (0.5 * (6610 * l - 13613 * m + 7003 * s)) / 4096,
    (17933 * l - 17390 * m - 543 * s) / 4096,
  ];
}
function differenceOf(display: Display, a: Triple, b: Triple): number {
  const [x, y] = [itpOf(lightOf(display, a)), itpOf(lightOf(display, b))];
  return 720 * Math.hypot(x[0] - y[0], x[1] - y[1], x[2] - y[2]);
}

const memory = new KernelMemory();
let kernel: PictureKernel;
beforeAll(async () => {
  kernel = await PictureKernel.load(memory);
});
function throughKernel(table: OutputTable, colours: readonly Triple[]): Triple[] {
  memory.reset();
  kernel.prepare({ width: colours.length, height: 1, source: null, transform: table.transform });
  const planes = kernel.planes();
  for (const [channel, at] of [planes.r, planes.g, planes.b].entries())
    memory.f32(at, colours.length).set(colours.map((colour) => colour[channel] as number));
  const { r, g, b } = kernel.toAp0(planes);
  const [reds, greens, blues] = [r, g, b].map((at) => memory.f32(at, colours.length).slice());
  return colours.map(
    (_, index): Triple => [
      reds?.[index] ?? Number.NaN,
      greens?.[index] ?? Number.NaN,
      blues?.[index] ?? Number.NaN,
    ],
  );
}

const row = (...args: readonly [string, OutputTransform]): typeof args => args;
describe.each([
  row('BT.709', { rendering: { version: 'aces-2', peak: 100, limiting: 'bt709' }, display: 'bt709-bt1886' }),
  row('PQ of 1000 cd/m²', {
    rendering: { version: 'aces-2', peak: 1000, limiting: 'bt2020' },
    display: 'bt2020-pq',
  }),
  ...further(
    row('P3-D65 with sRGB', {
      rendering: { version: 'aces-2', peak: 100, limiting: 'p3-d65' },
      display: 'p3-d65-srgb',
    }),
    row('BT.709 by ACES 1', {
      rendering: { version: 'aces-1', peak: 100, limiting: 'bt709' },
      display: 'bt709-bt1886',
    }),
  ),
])('a table for %s', (_, transform) => {
  let output: Output;
  let table: OutputTable;
  beforeAll(() => {
    output = prepareOutput(transform);
    table = tableOf(output, transform);
  });

  test('differs by no more than one ΔE_ITP in 99.8 % of colours, and by no more than three anywhere', () => {
    const errors = pictureLike(8000)
      .map((colour) => differenceOf(transform.display, output(colour), evaluate(table.transform, ...colour)))
      .sort((a, b) => a - b);
    expect(errors.filter((error) => !(error <= 1)).length).toBeLessThanOrEqual(16);
    expect(errors.at(-1)).toBeLessThan(3);
  });

  test('gives greys within a code of 10 bits, equal in the three channels, to the end of the scene', () => {
    // The black of ACES 1 begins with a corner, and the least code above it is steep.
    const budget = transform.rendering.version === 'aces-1' ? 1.1 : 1;
    const { high } = domainOf(transform.rendering);
    for (let linear = 2 ** -14; linear < 2 * high; linear *= 1.01) {
      const [r, g, b] = evaluate(table.transform, linear, linear, linear);
      expect(876 * Math.abs(g - output([linear, linear, linear])[1]), `${linear}`).toBeLessThan(budget);
      expect(Math.max(r, g, b) - Math.min(r, g, b)).toBeLessThan(1e-6);
    }
    expect(evaluate(table.transform, -0.01, -0.01, -0.01)[0]).toBeLessThan(1e-6);
  });

  test('is the same through the kernels', () => {
    const colours = pictureLike(2001).map((colour) => colour.map(Math.fround) as unknown as Triple);
    const found = throughKernel(table, colours);
    const wrong = colours.flatMap((colour, index) => {
      const wanted = evaluate(table.transform, ...colour);
      return wanted.every(
        (value, channel) => Math.abs(value - ((found[index] as Triple)[channel] as number)) <= 1e-5,
      )
        ? []
        : [{ colour, wanted, found: found[index] }];
    });
    expect(wrong.slice(0, 3)).toEqual([]);
  });

  test('gives what is no number, and infinity, as the transform does', () => {
    const infinite = Number.POSITIVE_INFINITY;
    const colours: readonly Triple[] = [
      [Number.NaN, 0.2, 0.3],
      [infinite, infinite, infinite],
      [infinite, -infinite, 0.1],
    ];
    for (const colour of colours) {
      const [wanted, found] = [output(colour), evaluate(table.transform, ...colour)];
      for (const channel of [0, 1, 2] as const)
        expect(Math.abs(found[channel] - wanted[channel])).toBeLessThan(0.01);
    }
  });
});

test('a look that lifts what lies below 0 needs a table that begins there', () => {
  const transform: OutputTransform = {
    rendering: { version: 'aces-2', peak: 100, limiting: 'bt709' },
    display: 'bt709-bt1886',
  };
  const output = prepareOutput(transform);
  const lift = cdlInAcescct({
    slope: [1, 1, 1],
    offset: [0.06, 0.06, 0.06],
    power: [1, 1, 1],
    saturation: 1,
  });
  const looked: Output = (rgb, into) => output(evaluate(lift, ...rgb), into);
  const apart = (low: number): number => {
    const { transform: table } = tableOf(looked, transform, { size: 33, low });
    return Math.abs(evaluate(table, -0.004, -0.004, -0.004)[1] - looked([-0.004, -0.004, -0.004])[1]);
  };
  expect(apart(-0.0069)).toBeLessThan(1 / 876);
  expect(apart(0)).toBeGreaterThan(4 / 876);
});

test('a table is named by what is in it', () => {
  const transform: OutputTransform = {
    rendering: { version: 'aces-2', peak: 100, limiting: 'bt709' },
    display: 'srgb',
  };
  const output = prepareOutput(transform);
  const name = tableOf(output, transform, { size: 5 }).sha256;
  expect(name).toMatch(/^[0-9a-f]{64}$/);
  expect(tableOf(prepareOutput(transform), transform, { size: 5 }).sha256).toBe(name);
  expect(tableOf(output, transform, { size: 6 }).sha256).not.toBe(name);
  expect(tableOf(output, transform, { size: 5, low: -0.01 }).sha256).not.toBe(name);
  expect(
    tableOf((rgb, into) => output([1.001 * rgb[0], rgb[1], rgb[2]], into), transform, { size: 5 }).sha256,
  ).not.toBe(name);
});
