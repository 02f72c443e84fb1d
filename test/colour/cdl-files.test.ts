/** ASC CDL as files have it. Numbers: by hand from the files. Shapes: the schema of ASC CDL 1.01 as AMF publishes it (ampas/aces-amf). */
import { describe, expect, test } from 'vitest';
import { cdlsOf } from '../../media/colour/cdl-file.ts';

const nodes = (sop = 'SOPNode', sat = 'SatNode', power = '1.2 1 0.8'): string =>
  `<${sop}><Description>warm</Description><Slope>1.1 1 0.9</Slope><Offset>-0.02 0.01 0.03</Offset><Power>${power}</Power></${sop}><${sat}><Saturation>0.85</Saturation></${sat}>`;
const numbers = { slope: [1.1, 1, 0.9], offset: [-0.02, 0.01, 0.03], power: [1.2, 1, 0.8], saturation: 0.85 };
const head = '<?xml version="1.0" encoding="UTF-8"?>\n';
const space = ' xmlns="urn:ASC:CDL:v1.01"';
const read = (name: string, text: string) => cdlsOf(name, Buffer.from(text, 'utf8'));

const collection = `${head}<ColorCorrectionCollection${space}><ColorCorrection id="A001C001">${nodes()}</ColorCorrection><ColorCorrection id="A001C002"><SatNode><Saturation>0</Saturation></SatNode></ColorCorrection></ColorCorrectionCollection>`;
const list = `${head}<ColorDecisionList${space}><ColorDecision><MediaRef ref="file:///day/A001/A001C003.mov"/><ColorCorrection id="c3">${nodes()}</ColorCorrection></ColorDecision><ColorDecision><MediaRef ref="A001C004.%2307d.exr"/><ColorCorrectionRef ref="c3"/></ColorDecision></ColorDecisionList>`;

describe('the three forms of XML', () => {
  test('a collection, one correction, and decisions of clips, each with its names', () => {
    expect(read('day.ccc', collection)).toMatchObject([
      { values: numbers, id: 'A001C001', names: ['A001C001'] },
      { values: { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 0 } },
    ]);
    expect(
      read('A001C009.cc', `${head}<ColorCorrection${space} id="x">${nodes()}</ColorCorrection>`),
    ).toMatchObject([{ values: numbers, names: ['x', 'A001C009'] }]);
    expect(read('day.cdl', list)).toMatchObject([
      { values: numbers, names: ['c3', 'A001C003'] },
      { values: numbers, names: ['c3', expect.stringContaining('A001C004')] },
    ]);
  });

  test.each([
    ['version 1.2', ' xmlns="urn:ASC:CDL:v1.2"', nodes()],
    ['no namespace', '', nodes()],
    ['the other names of the nodes', space, nodes('ASC_SOP', 'ASC_SAT')],
    [
      'elements of others beside them',
      space,
      `<Note xmlns="urn:other">x</Note><InputDescription>log</InputDescription>${nodes()}`,
    ],
  ])('%s', (_, attributes, inner) => {
    expect(
      read('one.cc', `${head}<ColorCorrection${attributes} id="one">${inner}</ColorCorrection>`)[0]?.values,
    ).toEqual(numbers);
  });
});

test.each([
  ['broken XML', 'a.ccc', collection.replace('</ColorCorrection>', ''), /line \d+/],
  ['a negative slope', 'a.ccc', collection.replace('1.1 1 0.9', '-1.1 1 0.9'), /correction 1.*slope/],
  [
    'a power of 0',
    'a.cc',
    `<ColorCorrection id="a">${nodes('SOPNode', 'SatNode', '0 1 1')}</ColorCorrection>`,
    /power/,
  ],
  [
    'a negative saturation',
    'a.ccc',
    collection.replace('<Saturation>0<', '<Saturation>-1<'),
    /correction 2.*saturation/,
  ],
  ['two numbers of three', 'a.ccc', collection.replace('1.1 1 0.9', '1.1 1'), /Slope/],
  ['a word for a number', 'a.ccc', collection.replace('0.85', 'full'), /Saturation/],
  [
    'nodes with a slip in their names',
    'a.cc',
    `<ColorCorrection>${nodes('SOPnode', 'Satnode')}</ColorCorrection>`,
    /neither/,
  ],
  ['one id twice', 'a.ccc', collection.replace('A001C002', 'A001C001'), /twice/],
  ['a reference to nothing', 'a.cdl', list.replace('Ref ref="c3"', 'Ref ref="c4"'), /c4/],
  ['another kind of XML', 'a.cc', '<ProcessList/>', /ProcessList/],
  [
    'a namespace of nobody',
    'a.cc',
    `<ColorCorrection xmlns="urn:ASC:CDL:v9">${nodes()}</ColorCorrection>`,
    /v9/,
  ],
  ['nothing', 'a.ccc', `<ColorCorrectionCollection${space}/>`, /no correction/],
  [
    'a document type',
    'a.cc',
    `<!DOCTYPE x [<!ENTITY a "1">]><ColorCorrection>${nodes()}</ColorCorrection>`,
    /document type/,
  ],
])('%s is refused', (_, name, text, message) => {
  expect(() => read(name, text)).toThrow(message);
});

const edl = `TITLE: BELL PIT\r
FCM: NON-DROP FRAME\r
\r
001  A001R1AB V     C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00\r
* FROM CLIP NAME: A001C001.mov\r
* ASC_SOP (1.1 1 0.9)(-0.02 0.01 0.03)(1.2 1 0.8)\r
* ASC_SAT 0.85\r
002  BL       V     C        00:00:00:00 00:00:01:00 01:00:02:00 01:00:03:00\r
FCM: DROP FRAME\r
003  A001R1AB V     D    024 02:00:00:00 02:00:02:00 01:00:03:00 01:00:05:00\r
* FROM CLIP NAME: A001C001\r
* TO CLIP NAME: A001C002\r
*ASC_SAT: 0.5\r
`;

describe('an edit list', () => {
  test('gives the CDL of every event that has one, with reel, source timecode and name', () => {
    expect(read('day.edl', edl)).toEqual([
      {
        values: numbers,
        id: null,
        place: 'event 001, line 4',
        names: ['A001C001.mov', 'A001C001'],
        reel: 'A001R1AB',
        span: { from: '01:00:00:00', to: '01:00:02:00', drop: false },
      },
      {
        values: { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 0.5 },
        id: null,
        place: 'event 003, line 10',
        names: ['A001C002'],
        reel: 'A001R1AB',
        span: { from: '02:00:00:00', to: '02:00:02:00', drop: true },
      },
    ]);
  });

  test.each([
    ['a bracket that is missing', edl.replace('(1.2 1 0.8)', '(1.2 1 0.8'), /line 6/],
    ['two numbers in a bracket', edl.replace('(1.2 1 0.8)', '(1.2 1)'), /line 6/],
    ['a power below 0', edl.replace('(1.2 1 0.8)', '(-1.2 1 0.8)'), /event 001, line 4.*power/],
    ['no number', edl.replace('ASC_SAT 0.85', 'ASC_SAT'), /line 7/],
    ['a second one of an event', edl.replace('* ASC_SAT 0.85', '* ASC_SAT 0.85\r\n* ASC_SAT 0.9'), /second/],
    ['one above all events', `* ASC_SAT 1\r\n${edl}`, /before any event/],
    [
      'an event without its timecodes',
      edl.replace('01:00:00:00 01:00:02:00\r\n* FROM', '\r\n* FROM'),
      /line 4/,
    ],
    [
      'no CDL at all',
      'TITLE: x\n001  A V C 01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00\n',
      /no correction/,
    ],
    ['bytes that are no text', '\u0000', /no correction/],
  ])('with %s is refused', (_, text, message) => {
    expect(() => read('day.edl', text)).toThrow(message);
  });
});
