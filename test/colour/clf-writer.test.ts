/** Transforms as files of the Common LUT Format: OpenColorIO reads them, and gives the values of the transform. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { CLF_TOLERANCE, clfProbes } from '../../check/master/clf-values.ts';
import { packageFolder } from '../../files/installation.ts';
import { clfSteps } from '../../media/colour/clf.ts';
import { clfText } from '../../media/colour/clf-writer.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { colourFileSteps } from '../../media/colour/file.ts';
import { type InputTransform, inputNames, transformOf } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { type ColourTransform, matrixStep } from '../../media/colour/steps.ts';
import { sharedFolder } from '../support/folder.ts';
import { ocioConfigOf, throughOcioEach, toReference } from '../support/pictures.ts';

const about = { id: 'urn:bell', description: 'Of the <bell> & its "clapper"' };
const fixture = (name: string): Buffer => readFileSync(join(packageFolder, 'test/fixtures/colour', name));

/** The greatest distance, in parts of what is allowed (docs/amf.md). */
function worst(
  found: readonly (readonly number[])[],
  pixels: readonly Triple[],
  transform: ColourTransform,
): number {
  return Math.max(
    ...pixels.map((pixel, index) => {
      const wanted = evaluate(transform, ...pixel);
      const allowed = CLF_TOLERANCE.relative * Math.max(...wanted.map(Math.abs)) + CLF_TOLERANCE.absolute;
      return Math.max(
        ...wanted.map((value, channel) => {
          const off = Math.abs(value - ((found[index] as readonly number[])[channel] as number));
          return Number.isNaN(off) ? Number.POSITIVE_INFINITY : off / allowed;
        }),
      );
    }),
  );
}

const named = (name: (typeof inputNames)[number]): InputTransform =>
  name === 'logc3-awg3' ? { name, ei: 400 } : { name };

test.each(inputNames.map((name) => [name]))('%s, read back, is the transform', (name) => {
  const transform = transformOf(named(name));
  const text = Buffer.from(clfText(transform, about));
  const pixels = clfProbes('coded').map((probe): Triple => [...probe]);
  const steps = clfSteps(text);
  const found = pixels.map((pixel) => evaluate({ steps }, ...pixel));
  expect(worst(found, pixels, transform)).toBeLessThan(0.7);
});

const transforms: readonly (readonly [title: string, transform: ColourTransform])[] = [
  ...(
    [
      'slog2-sgamut',
      'flog2-fgamut',
      'nlog-ngamut',
      'dlog-dgamut',
      'bt709',
      'logc4-awg4',
      'pq-bt2020',
    ] as const
  ).map((name): [string, ColourTransform] => [name, transformOf(named(name))]),
  ['logc3-awg3 at 400', transformOf({ name: 'logc3-awg3', ei: 400 })],
  ['one without a step', transformOf({ name: 'aces2065-1' })],
  [
    'a logarithm by its parameters',
    transformOf({
      log: {
        base: 10,
        logSideSlope: 0.25,
        logSideOffset: 0.4,
        linSideSlope: 5,
        linSideOffset: 0.05,
        linSideBreak: 0.01,
      },
      primaries: { red: [0.7, 0.3], green: [0.2, 0.8], blue: [0.1, -0.05] },
      white: [0.3127, 0.329],
      adaptation: 'cat02',
    }),
  ],
  [
    'a 3D table of another domain than 0 to 1',
    {
      steps: [
        ...colourFileSteps('a.cube', fixture('3d-2x2x2.cube'), 'tetrahedral'),
        ...transformOf({ name: 'acescg' }).steps,
      ],
    },
  ],
  [
    'matrix, range and a table of three columns',
    { steps: colourFileSteps('a.clf', fixture('xyz-to-rgb.clf')) },
  ],
  [
    'a matrix with an offset',
    {
      steps: [
        matrixStep(
          [
            [1, 0.5, 0],
            [0, 2, 0],
            [0.25, 0, 1],
          ],
          [0.5, 0, -0.125],
        ),
      ],
    },
  ],
];

describe('OpenColorIO gives the same values as the transform', () => {
  const pixels = clfProbes('coded').map(
    (probe): Triple => [Math.fround(probe[0]), Math.fround(probe[1]), Math.fround(probe[2])],
  );
  const found = new Map<string, readonly Triple[]>();
  beforeAll(async () => {
    const folder = mkdtempSync(join(sharedFolder, 'clf-'));
    const stones = transforms.map(([, transform], index) => {
      const path = join(folder, `${index}.clf`);
      writeFileSync(path, clfText(transform, about));
      return `!<FileTransform> {src: '${path}', interpolation: best}`;
    });
    const converted = await throughOcioEach(
      folder,
      ocioConfigOf(stones),
      transforms.map((_, index) => toReference(index)),
      pixels,
    );
    for (const [index, [title]] of transforms.entries()) found.set(title, converted[index] as Triple[]);
    rmSync(folder, { recursive: true });
  });

  test.each(transforms)('%s', (title, transform) => {
    expect(found.get(title)).toHaveLength(pixels.length);
    expect(worst(found.get(title) ?? [], pixels, transform)).toBeLessThanOrEqual(1);
  });
});
