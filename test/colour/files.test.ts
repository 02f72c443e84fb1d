/** .cube and .clf files: what they do, against OpenColorIO, and what is refused. */
import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { FindingError } from '../../findings/finding.ts';
import { colourFileSteps } from '../../media/colour/file.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { transformOf } from '../../media/colour/input.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { limits } from '../../media/colour/steps.ts';
import { packageFolder } from '../../files/installation.ts';
import { freshFolder } from '../support/folder.ts';
import { ocioConfigOf, throughOcioEach } from '../support/pictures.ts';

const fixture = (name: string): Buffer =>
  readFileSync(join(packageFolder, 'test', 'fixtures', 'colour', name));

/** Inside, on the edges, and outside. */
const pixels: Triple[] = [
  [0.5, 0.4, 0.3],
  [0.18, 0.18, 0.18],
  [0, 0, 0],
  [1, 1, 1],
  [1.2, 0.5, -0.1],
  [0.03, 0.97, 0.6],
  [0.7, 0.71, 0.05],
  [0.25, 0.8, 0.9],
  [3, 0.001, 0.2],
  [-0.5, -0.02, 0.4],
];

interface Asked {
  readonly name: string;
  readonly bytes: Buffer | string;
  /** Absent: the one that the file says. */
  readonly interpolation?: 'linear' | 'tetrahedral';
}
/** All files that OpenColorIO is asked about: one start of its program answers for every one. */
const asked: Asked[] = [];
let answers: Promise<Triple[][]> | undefined;

/** Before the tests run. Gives what `same` is asked with. */
function ask(name: string, bytes: Buffer | string, interpolation?: Asked['interpolation']): number {
  asked.push({ name, bytes, ...(interpolation === undefined ? {} : { interpolation }) });
  return asked.length - 1;
}

async function answersOfOcio(): Promise<Triple[][]> {
  const folder = freshFolder('lut');
  const transforms = asked.map(({ name, bytes, interpolation }, index) => {
    const path = join(folder, `${index}-${name}`);
    writeFileSync(path, bytes);
    const how = interpolation === undefined ? '' : `, interpolation: ${interpolation}`;
    return `!<FileTransform> {src: ${path}${how}}`;
  });
  const conversions = asked.map((_, index) => ['--colorconvert', `source-${index}`, 'reference']);
  return await throughOcioEach(folder, ocioConfigOf(transforms), conversions, pixels);
}

async function same(index: number): Promise<void> {
  const { name, bytes, interpolation } = asked[index] as Asked;
  const steps = colourFileSteps(
    name,
    Buffer.from(bytes),
    interpolation === 'tetrahedral' ? interpolation : undefined,
  );
  const found = pixels.map((pixel) => evaluate({ steps }, ...pixel));
  answers ??= answersOfOcio();
  const wanted = (await answers)[index] as Triple[];
  expect(wanted).toHaveLength(pixels.length);
  for (const [place, answer] of wanted.entries()) {
    // Its answers have seven digits, and its arithmetic is float32. What is given to the pictures is float32 too.
    for (const [channel, value] of answer.entries())
      expect(
        Math.abs((found[place] as Triple)[channel as 0 | 1 | 2] - value),
        `${pixels[place]}: ${found[place]} and ${answer}`,
      ).toBeLessThan(2e-5 * Math.max(1, Math.abs(value)));
  }
}

const table = (
  size: number,
  at: (r: number, g: number, b: number) => Triple,
  order: 'red' | 'blue',
): string => {
  const lines: string[] = [];
  for (let slow = 0; slow < size; slow++)
    for (let g = 0; g < size; g++)
      for (let fast = 0; fast < size; fast++)
        lines.push(
          at(order === 'red' ? fast : slow, g, order === 'red' ? slow : fast)
            .map((value) => value.toFixed(6))
            .join(' '),
        );
  return lines.join('\n');
};
/** Nothing symmetric: every exchanged axis and every wrong corner shows. */
const bent = (r: number, g: number, b: number): Triple => [
  r * 0.4 + 0.1 * g * g - 0.05,
  g * 0.3 - 0.02 * r * b + 0.1,
  b * 0.5 + 0.07 * r - 0.04 * g * r,
];
const rows = (size: number, order: 'red' | 'blue'): string => table(size, bent, order);
const node = (text: string): string =>
  `<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList id="bell" compCLFversion="3.0">\n<Description>casting pit</Description>\n${text}\n</ProcessList>\n`;
const float = 'inBitDepth="32f" outBitDepth="32f"';

describe('.cube files do what OpenColorIO does with them', () => {
  const rowsOfCube: [string, Buffer | string][] = [
    ['a 3D table whose domain differs by channel', fixture('3d-2x2x2.cube')],
    ['a 3D table, red fastest', `TITLE "casting"\n# a comment\nLUT_3D_SIZE 4\n\n${rows(4, 'red')}\n`],
    [
      'a 1D table with a domain, and line ends of two characters',
      'LUT_1D_SIZE 4\r\nDOMAIN_MIN -0.5 0 0\r\nDOMAIN_MAX 1.5 1 2\r\n0 0 0\r\n.1 0.5 2e-1\r\n+0.3 0.7 0.9\r\n1.5 -1 0.95\r\n',
    ],
    [
      'a shaper before a 3D table',
      `LUT_1D_SIZE 3\nLUT_1D_INPUT_RANGE -1.0 3.0\nLUT_3D_SIZE 3\nLUT_3D_INPUT_RANGE 0.0 2.0\n0 0.1 0\n0.6 0.5 0.8\n2 1.9 1.5\n${rows(3, 'red')}\n`,
    ],
  ];
  const ways = ['linear', 'tetrahedral'] as const;
  test.each(
    ways.flatMap((way) =>
      rowsOfCube.map(([title, bytes]): [string, string, number] => [
        title,
        way,
        ask('bell.cube', bytes, way),
      ]),
    ),
  )('%s, %s between its places', async (_, _way, index) => same(index));
});

describe('.clf files do what OpenColorIO does with them', () => {
  const xyz = ask('xyz.clf', fixture('xyz-to-rgb.clf'));
  test('matrix, range and a 1D table of three columns', async () => same(xyz));
  const rowsOfClf: [string, string][] = [
    [
      'a matrix with offsets and depths',
      '<Matrix inBitDepth="10i" outBitDepth="12i"><Array dim="3 4">4.8 0 -0.2 30\n0 4.1 0.3 -50\n-0.1 0.2 3.9 0</Array></Matrix>',
    ],
    [
      'a range that limits',
      `<Range ${float}><minInValue>0.1</minInValue><maxInValue>0.8</maxInValue><minOutValue>-0.2</minOutValue><maxOutValue>1.5</maxOutValue></Range>`,
    ],
    [
      'a range that does not limit',
      '<Range inBitDepth="8i" outBitDepth="10i" style="noClamp"><minInValue>16</minInValue><maxInValue>235</maxInValue><minOutValue>64</minOutValue><maxOutValue>900</maxOutValue></Range>',
    ],
    [
      'a range with one side',
      `<Range ${float}><minInValue>0.2</minInValue><minOutValue>0.2</minOutValue></Range>`,
    ],
    [
      'a 3D table, blue fastest',
      `<LUT3D ${float} interpolation="trilinear"><Array dim="3 3 3 3">${rows(3, 'blue')}</Array></LUT3D>`,
    ],
    [
      'a 3D table, trilinear where nothing is said',
      `<LUT3D ${float}><!-- trilinear --><Array dim="3 3 3 3">${rows(3, 'blue')}</Array></LUT3D>`,
    ],
    [
      'a 3D table, tetrahedral, of integers',
      `<LUT3D interpolation="tetrahedral" inBitDepth="10i" outBitDepth="10i"><Array dim="3 3 3 3">${table(3, (r, g, b) => bent(r, g, b).map((value) => Math.round(value * 1023)) as [number, number, number], 'blue')}</Array></LUT3D>`,
    ],
    [
      'a 1D table of one column',
      '<LUT1D inBitDepth="10i" outBitDepth="12i"><Array dim="5 1">-100 900 1500 2800 4500</Array></LUT1D>',
    ],
    [
      'a table over all halves',
      `<LUT1D ${float} halfDomain="true" rawHalfs="true"><Array dim="65536 1">${Array.from({ length: 65536 }, (_, bits) => ((bits & 0x7fff) > 0x3c00 && (bits & 0x7fff) < 0x7c00 ? (bits & 0x8000) | 0x3c00 : bits ^ 3)).join('\n')}</Array></LUT1D>`,
    ],
    [
      'log2 of a lifted value',
      `<Matrix ${float}><Array dim="3 4">1 0 0 1\n0 1 0 1\n0 0 1 1</Array></Matrix><Log ${float} style="log2"/>`,
    ],
    ['antiLog10', `<Log ${float} style="antiLog10"/>`],
    [
      'logToLin with a channel each',
      `<Log ${float} style="logToLin"><LogParams channel="B" base="8" logSideSlope="0.28" logSideOffset="0.5" linSideSlope="2" linSideOffset="0.1"/><LogParams channel="R" base="8" logSideSlope="0.3" logSideOffset="0.6" linSideSlope="0.9" linSideOffset="0.05"/><LogParams channel="G" base="8" logSideSlope="0.25" logSideOffset="0.4" linSideSlope="5" linSideOffset="0.05"/></Log>`,
    ],
    [
      'linToLog',
      `<Matrix ${float}><Array dim="3 4">1 0 0 1\n0 1 0 1\n0 0 1 1</Array></Matrix><Log ${float} style="linToLog"><LogParams base="10" logSideSlope="0.29325513196" logSideOffset="0.66959921799" linSideSlope="0.98920224838" linSideOffset="0.01079775162"/></Log>`,
    ],
    [
      'cameraLinToLog with the slope that follows',
      `<Log ${float} style="cameraLinToLog"><LogParams logSideSlope="0.05707762557" logSideOffset="0.5547945205" linSideBreak="0.0078125"/></Log>`,
    ],
    [
      'cameraLogToLin with a slope of its own',
      `<Log inBitDepth="16f" outBitDepth="10i" style="cameraLogToLin"><LogParams base="10" logSideSlope="0.25562072336" logSideOffset="0.41055718475" linSideBreak="0.01125" linSideSlope="5.26315789474" linSideOffset="0.05263157895" linearSlope="6.62194371178"/></Log>`,
    ],
    ...[
      'basicFwd',
      'basicRev',
      'basicMirrorFwd',
      'basicMirrorRev',
      'basicPassThruFwd',
      'basicPassThruRev',
    ].map((style): [string, string] => [
      style,
      `<Exponent ${float} style="${style}"><ExponentParams channel="R" exponent="2.4"/><ExponentParams channel="B" exponent="0.7"/></Exponent>`,
    ]),
    ...['monCurveFwd', 'monCurveRev', 'monCurveMirrorFwd', 'monCurveMirrorRev'].map(
      (style): [string, string] => [
        style,
        `<Exponent ${float} style="${style}"><ExponentParams exponent="2.4" offset="0.055"/></Exponent>`,
      ],
    ),
    ...['Fwd', 'Rev', 'FwdNoClamp', 'RevNoClamp'].map((style): [string, string] => [
      style,
      `<ASC_CDL id="a" ${float} style="${style}"><SOPNode><Slope>1.1 1.0 0.8</Slope><Offset>-0.02 0.01 0.05</Offset><Power>1.2 1.0 0.8</Power></SOPNode><SatNode><Saturation>0.85</Saturation></SatNode></ASC_CDL>`,
    ]),
    [
      'a correction without saturation, limiting by default',
      `<ASC_CDL ${float}><SOPNode><Slope>1.1 1.0 0.8</Slope><Offset>-0.02 0.01 0.05</Offset><Power>1.2 1.0 0.8</Power></SOPNode></ASC_CDL>`,
    ],
  ];
  test.each(
    rowsOfClf.map(([title, text]): [string, number] => [
      title,
      ask('bell.clf', node(text), text.includes('trilinear') ? 'linear' : undefined),
    ]),
  )('%s', async (_, index) => same(index));
});

// ASC CDL version 1.2, worked with OpenColorIO 2.1 in both styles: slope 1.1 1.0 0.9, offset -0.02 0.01 0.03, power 1.2 1.0 0.8, saturation 0.85.
test('a correction limits or not, as its style says', () => {
  const file = (style: string): string =>
    node(
      `<ASC_CDL ${float} style="${style}"><SOPNode><Slope>1.1 1.0 0.9</Slope><Offset>-0.02 0.01 0.03</Offset><Power>1.2 1.0 0.8</Power></SOPNode><SatNode><Saturation>0.85</Saturation></SatNode></ASC_CDL>`,
    );
  for (const [style, wanted] of [
    ['Fwd', [0.9366028, 0.5201028, 0.0866028]],
    ['FwdNoClamp', [1.2622843, 0.5312535, 0.0467535]],
  ] as const) {
    const transform = { steps: colourFileSteps('a.clf', Buffer.from(file(style))) };
    for (const [channel, value] of evaluate(transform, 1.2, 0.5, -0.1).entries())
      expect(value).toBeCloseTo(wanted[channel] as number, 6);
    expect(limits(transform)).toBe(style === 'Fwd');
  }
});

function refusal(name: string, bytes: Buffer | string): { found: string; expected: string } {
  try {
    colourFileSteps(name, Buffer.from(bytes));
  } catch (error) {
    if (!(error instanceof FindingError)) throw error;
    const [finding] = error.findings;
    expect(finding).toMatchObject({ code: 'colour-file-refused', file: name });
    return { found: finding?.found ?? '', expected: finding?.expected ?? '' };
  }
  throw new Error('not refused');
}

const cube1 = 'LUT_1D_SIZE 2\n0 0 0\n1 1 1\n';
describe('what is not understood is refused, with its place', () => {
  test.each<[string, string | Buffer, string]>([
    ['an unknown keyword', `LUT_IN_VIDEO_RANGE\n${cube1}`, 'LUT_IN_VIDEO_RANGE'],
    ['a row too few', 'LUT_3D_SIZE 2\n0 0 0\n', '1 rows'],
    ['a row too many', `${cube1}0 0 0\n`, '3 rows'],
    ['a row of two numbers', 'LUT_1D_SIZE 2\n0 0\n1 1 1\n', 'line 2'],
    ['a row with a word', 'LUT_1D_SIZE 2\n0 0 nan\n1 1 1\n', 'line 2'],
    ['no size', '0 0 0\n1 1 1\n', 'neither'],
    ['a size beyond the specification', 'LUT_3D_SIZE 257\n', '257'],
    ['a size given twice', `LUT_1D_SIZE 2\n${cube1}`, 'a second time'],
    ['a domain that runs backwards', `DOMAIN_MIN 1 1 1\nDOMAIN_MAX 0 0 0\n${cube1}`, 'from 1 to 0'],
    [
      'a domain with two tables',
      `LUT_1D_SIZE 2\nLUT_3D_SIZE 2\nDOMAIN_MAX 2 2 2\n${'0 0 0\n'.repeat(10)}`,
      'DOMAIN_MIN',
    ],
    ['a range for a table that is not there', `LUT_3D_INPUT_RANGE 0 1\n${cube1}`, 'LUT_3D_INPUT_RANGE'],
    ['a keyword among the rows', 'LUT_1D_SIZE 2\n0 0 0\nDOMAIN_MAX 2 2 2\n1 1 1\n', 'among the rows'],
    ['no text', Buffer.from([0xff, 0xfe, 0, 1]), 'no text'],
  ])('.cube: %s', (_, bytes, reported) => {
    expect(refusal('a.cube', bytes).found).toContain(reported);
  });

  test.each<[string, string, string]>([
    ['another version', node('').replace('"3.0"', '"4.0"'), '4.0'],
    ['no node', node(''), 'without a node'],
    ['another root', '<?xml version="1.0"?><ColorCorrection id="a"/>', 'ColorCorrection'],
    [
      'a document type',
      '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><ProcessList id="a" compCLFversion="3.0"/>',
      'document type',
    ],
    ['XML that breaks off', node('<Matrix').slice(0, 120), 'ends before </'],
    ['an unknown node', node(`<Gamma ${float}/>`), 'Gamma'],
    [
      'an unknown element in a node',
      node(`<LUT1D ${float}><IndexMap dim="2">0 1</IndexMap><Array dim="2 1">0 1</Array></LUT1D>`),
      'IndexMap',
    ],
    [
      'an unknown attribute',
      node(`<Matrix ${float} bypass="true"><Array dim="3 3">1 0 0 0 1 0 0 0 1</Array></Matrix>`),
      'bypass',
    ],
    [
      'depths that do not chain',
      node(
        '<Log inBitDepth="32f" outBitDepth="10i" style="log2"/><Log inBitDepth="12i" outBitDepth="32f" style="log2"/>',
      ),
      '12i behind outBitDepth 10i',
    ],
    ['no depth', node('<Log style="log2"/>'), 'inBitDepth missing'],
    ['an array of another length', node(`<LUT1D ${float}><Array dim="3 1">0 1</Array></LUT1D>`), '2 numbers'],
    [
      'a cube with sides that differ',
      node(`<LUT3D ${float}><Array dim="2 2 3 3">0</Array></LUT3D>`),
      '2 2 3 3',
    ],
    [
      'an interpolation that is not defined',
      node(`<LUT1D ${float} interpolation="cubic"><Array dim="2 1">0 1</Array></LUT1D>`),
      'cubic',
    ],
    [
      'halves that are too few',
      node(`<LUT1D ${float} halfDomain="true"><Array dim="2 1">0 1</Array></LUT1D>`),
      '2 entries with halfDomain',
    ],
    [
      'halfDomain that is false',
      node(`<LUT1D ${float} halfDomain="false"><Array dim="2 1">0 1</Array></LUT1D>`),
      'false',
    ],
    ['a range of half a pair', node(`<Range ${float}><minInValue>0</minInValue></Range>`), 'minInValue'],
    [
      'a one-sided range that shifts',
      node(`<Range ${float}><minInValue>0</minInValue><minOutValue>0.5</minOutValue></Range>`),
      'shifts',
    ],
    [
      'a one-sided range that does not limit',
      node(`<Range ${float} style="noClamp"><minInValue>0</minInValue><minOutValue>0</minOutValue></Range>`),
      'noClamp',
    ],
    [
      'a camera log without its break',
      node(`<Log ${float} style="cameraLogToLin"><LogParams base="10"/></Log>`),
      'linSideBreak',
    ],
    [
      'a log with two bases',
      node(
        `<Log ${float} style="linToLog"><LogParams channel="R" base="2"/><LogParams channel="G" base="10"/><LogParams channel="B" base="2"/></Log>`,
      ),
      'bases 2, 10',
    ],
    [
      'a log with a channel missing',
      node(`<Log ${float} style="linToLog"><LogParams channel="R"/></Log>`),
      'for G',
    ],
    [
      'a style that is not defined',
      node(`<Exponent ${float} style="gamma"><ExponentParams exponent="2"/></Exponent>`),
      'gamma',
    ],
    [
      'a straight part without its offset',
      node(`<Exponent ${float} style="monCurveFwd"><ExponentParams exponent="2"/></Exponent>`),
      'offset',
    ],
    [
      'an offset that nothing uses',
      node(`<Exponent ${float} style="basicFwd"><ExponentParams exponent="2" offset="0.1"/></Exponent>`),
      'offset',
    ],
    [
      'a power that is none',
      node(
        `<ASC_CDL ${float}><SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset><Power>1 0 1</Power></SOPNode></ASC_CDL>`,
      ),
      'power 1 0 1',
    ],
    [
      'a correction without its offset',
      node(`<ASC_CDL ${float}><SOPNode><Slope>1 1 1</Slope><Power>1 1 1</Power></SOPNode></ASC_CDL>`),
      '0 Offset',
    ],
  ])('.clf: %s', (_, text, reported) => {
    const { found, expected } = refusal('a.clf', text);
    expect(found).toContain(reported);
    expect(expected).not.toBe('');
  });
});

describe('a file as an input transform', () => {
  const bytes = fixture('xyz-to-rgb.clf');
  const sha256 = createHash('sha256').update(bytes).digest('hex');

  test('goes on from the space that it gives', () => {
    const own = evaluate({ steps: colourFileSteps('a.clf', bytes) }, 0.5, 0.4, 0.3);
    expect(
      evaluate(transformOf({ file: 'a.clf', sha256, gives: 'aces2065-1' }, bytes), 0.5, 0.4, 0.3),
    ).toEqual(own);
    expect(
      evaluate(
        transformOf({ file: 'a.clf', sha256, gives: 'acescct' }, bytes.toString('utf8')),
        0.5,
        0.4,
        0.3,
      ),
    ).toEqual(evaluate(transformOf({ name: 'acescct' }), ...own));
  });

  test('that is not the one that was named is refused', () => {
    expect(() =>
      transformOf({ file: 'a.clf', sha256, gives: 'acescg' }, Buffer.concat([bytes, Buffer.from('\n')])),
    ).toThrow(/colour-file-changed/);
  });
});
