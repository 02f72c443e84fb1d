/**
 * Maker and checker read the corrections of a frame with one parser: what it says of bytes that were laid out by hand, field by field as the DNG specification
 * lists them (chapter 7), each field another number.
 */
import { expect, test } from 'vitest';
import { readOpcodes } from '../../media/formats/dng/opcodes.ts';

// Words of 4 bytes: 1 to 8 as a rectangle's top, left, bottom, right, first plane, planes, row pitch, column pitch.
const REACH = '00000001 00000002 00000009 0000000a 00000001 00000002 00000004 00000003';
const reach = { top: 1, left: 2, bottom: 9, right: 10, plane: 1, planes: 2, rowPitch: 4, columnPitch: 3 };
// IEEE 754 binary64: 0.5, 1, 2, 3, 4, 5, 6, 0.25, 0.75.
const D = {
  half: '3fe0000000000000',
  one: '3ff0000000000000',
  two: '4000000000000000',
  three: '4008000000000000',
  four: '4010000000000000',
  five: '4014000000000000',
  six: '4018000000000000',
  quarter: '3fd0000000000000',
  threeQuarters: '3fe8000000000000',
};
// binary32: 1, 2, 3, 0.5.
const F = { one: '3f800000', two: '40000000', three: '40400000', half: '3f000000' };

test.each<[string, id: string, fields: string, says: object]>([
  [
    'WarpRectilinear: planes, four radial and two tangential each, centre x, y',
    '00000001',
    `00000001 ${D.one} ${D.two} ${D.three} ${D.four} ${D.five} ${D.six} ${D.quarter} ${D.threeQuarters}`,
    { kind: 'warp', planes: [[1, 2, 3, 4, 5, 6]], x: 0.25, y: 0.75 },
  ],
  [
    'FixVignetteRadial: five coefficients, centre x, y',
    '00000003',
    `${D.one} ${D.two} ${D.three} ${D.four} ${D.five} ${D.quarter} ${D.threeQuarters}`,
    { kind: 'vignette', k: [1, 2, 3, 4, 5], x: 0.25, y: 0.75 },
  ],
  [
    'FixBadPixelsConstant: code, phase',
    '00000004',
    '00000fa0 00000002',
    { kind: 'bad-constant', code: 4000 },
  ],
  [
    'FixBadPixelsList: phase, counts of points and rectangles; row, column; top, left, bottom, right',
    '00000005',
    '00000003 00000002 00000001 00000007 00000008 00000009 0000000a 00000001 00000002 00000003 00000004',
    {
      kind: 'bad-list',
      points: [
        [7, 8],
        [9, 10],
      ],
      areas: [{ top: 1, left: 2, bottom: 3, right: 4 }],
    },
  ],
  [
    'TrimBounds: top, left, bottom, right',
    '00000006',
    '00000001 00000002 00000003 00000004',
    { kind: 'trim', area: { top: 1, left: 2, bottom: 3, right: 4 } },
  ],
  [
    'MapTable: area, count, 16 bits each',
    '00000007',
    `${REACH} 00000003 0001 0100 ffff`,
    { kind: 'table', reach, entries: [1, 256, 65_535] },
  ],
  [
    'MapPolynomial: area, degree, a coefficient more, the lowest first',
    '00000008',
    `${REACH} 00000002 ${D.half} ${D.one} ${D.two}`,
    { kind: 'polynomial', reach, coefficients: [0.5, 1, 2] },
  ],
  [
    'GainMap: area, points down and across, spacing down and across, origin down and across, planes, gains',
    '00000009',
    `${REACH} 00000001 00000002 ${D.half} ${D.one} ${D.quarter} ${D.threeQuarters} 00000002 ${F.one} ${F.two} ${F.three} ${F.half}`,
    {
      kind: 'gain-map',
      reach,
      map: {
        rows: 1,
        columns: 2,
        spacing: { down: 0.5, across: 1 },
        origin: { down: 0.25, across: 0.75 },
        planes: 2,
        gains: [1, 2, 3, 0.5],
      },
    },
  ],
  ...(
    [
      ['DeltaPerRow', '0000000a', 'rows', 'add'],
      ['DeltaPerColumn', '0000000b', 'columns', 'add'],
      ['ScalePerRow', '0000000c', 'rows', 'multiply'],
      ['ScalePerColumn', '0000000d', 'columns', 'multiply'],
    ] as const
  ).map(([name, id, along, how]): [string, string, string, object] => [
    `${name}: area, count, values`,
    id,
    // 8 rows, every fourth: 2; 8 columns, every third: 3.
    `${REACH} ${along === 'rows' ? '00000002' : '00000003'} ${F.one} ${F.two}${along === 'rows' ? '' : ` ${F.half}`}`,
    { kind: 'line', reach, along, how, values: along === 'rows' ? [1, 2] : [1, 2, 0.5] },
  ]),
])('%s', (_, id, fields, says) => {
  const parameters = Buffer.from(fields.replaceAll(' ', ''), 'hex');
  const size = Buffer.alloc(4);
  size.writeUInt32BE(parameters.length);
  // Two in the list: its count; number, DNG version 1.3.0.0, flags (1: optional, 2: previews may pass over it), bytes of parameters.
  const list = Buffer.concat([
    Buffer.from('00000002', 'hex'),
    Buffer.from(`${id}0103000000000001`, 'hex'),
    size,
    parameters,
    Buffer.from('000003e7010300000000000200000000', 'hex'),
  ]);
  expect(readOpcodes(2, list)).toEqual([
    {
      list: 2,
      id: Number.parseInt(id, 16),
      optional: true,
      forQuality: false,
      correction: says,
      why: null,
    },
    { list: 2, id: 999, optional: false, forQuality: true, correction: null, why: 'not known here' },
  ]);
});
