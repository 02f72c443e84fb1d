/**
 * Frames that say something else than they should, measured and compared as a master's are: the checker finds each by its own
 * numbers, so that a writer with a wrong constant cannot pass.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { measureExr } from '../../../check/master/exr.ts';
import { attributesOf, readHeader } from '../../../check/master/exr/header.ts';
import type { FrameSaid } from '../../../check/master/measured.ts';
import { parseTimecode } from '../../../media/time/timecode.ts';
import { encoded, grainy } from '../../formats/exr/encoded.ts';
import { freshFolder } from '../../support/folder.ts';
import { outputOf } from '../../support/pictures.ts';

const [WIDTH, HEIGHT] = [20, 40];
/** What the writer is asked for: the values are those that the outside programs print below. */
const asked = {
  timecode: parseTimecode('01:02:03:04', 24),
  framesPerSecond: { num: 24, den: 1 },
  adoptedNeutral: [0.32168, 0.33767] as const,
};
const forms = {
  zip: { compression: 'zip', container: 'exr' },
  aces: { compression: 'none', container: 'aces' },
} as const;
type Form = keyof typeof forms;

const written = async (form: Form, attributes: object = {}): Promise<Buffer> =>
  (
    await encoded({ width: WIDTH, height: HEIGHT, ...forms[form] }, grainy(WIDTH, HEIGHT), {
      ...asked,
      ...attributes,
    })
  ).bytes;

let whole: Record<Form, Buffer>;
beforeAll(async () => {
  whole = { zip: await written('zip'), aces: await written('aces') };
});

const measure = (bytes: Buffer, form: Form): ReturnType<typeof measureExr> =>
  measureExr({ bytes, base: 24, aces: form === 'aces', points: [{ x: 3, y: 5 }], spot: [] });

/** What the header of a good frame says, and what differs in another one. */
async function differing(bytes: Buffer, form: Form): Promise<{ faults: readonly string[]; said: string[] }> {
  const [good, found] = [await measure(whole[form], form), await measure(bytes, form)];
  const names = Object.keys(good.said ?? {}) as (keyof FrameSaid)[];
  return {
    faults: found.faults,
    said:
      found.said === null
        ? ['nothing']
        : names
            .filter((name) => found.said?.[name] !== good.said?.[name])
            .map((name) => `${name} ${found.said?.[name]}`),
  };
}

test('the frames that are spoiled below are good, by the checker and by outside programs', async () => {
  for (const form of ['zip', 'aces'] as const) {
    const { faults, said } = await measure(whole[form], form);
    expect(faults).toEqual([]);
    expect(said).toMatchObject({
      size: '20x40',
      windows: '0,0 19,39 of 0,0 19,39',
      channels: 'B half, G half, R half',
      compression: form === 'zip' ? 'zip' : 'none',
      lineOrder: 'increasing-y',
      colours: 'ACES2065-1',
      neutral: 'white of ACES2065-1',
      rate: '24',
      timecode: '01:02:03:04',
    });
    const file = join(freshFolder(), 'a.exr');
    writeFileSync(file, whole[form]);
    const lines = String(await outputOf('exrheader', [file]));
    for (const line of [
      'red   (0.7347 0.2653)',
      'green (0 1)',
      'blue  (0.0001 -0.077)',
      'white (0.32168 0.33767)',
      'lineOrder (type lineOrder): increasing y',
      'time 01:02:03:04',
      'drop frame 0, color frame 0, field/phase 0',
      'bgf0 0, bgf1 0, bgf2 0',
      'user data 0x0',
      'dataWindow (type box2i): (0 0) - (19 39)',
    ])
      expect(lines).toContain(line);
    expect(lines).toMatch(/adoptedNeutral(?: \(type v2f\): \(|: )0\.32168 0\.33767/);
  }
});

describe('a writer with a wrong constant is found out', () => {
  test.each<[string, object, string[]]>([
    [
      'the white of D65 for that of ACES',
      {
        chromaticities: {
          red: [0.7347, 0.2653],
          green: [0, 1],
          blue: [0.0001, -0.077],
          white: [0.3127, 0.329],
        },
      },
      ['colours others'],
    ],
    [
      'a red primary one in the fourth place beside',
      {
        chromaticities: {
          red: [0.7348, 0.2653],
          green: [0, 1],
          blue: [0.0001, -0.077],
          white: [0.32168, 0.33767],
        },
      },
      ['colours others'],
    ],
    [
      'another neutral',
      { adoptedNeutral: [0.3127, 0.329] },
      ['neutral 0.3127000033855438 0.32899999618530273'],
    ],
    ['a label with dropped frames', { timecode: parseTimecode('01:02:03;04', 30) }, ['timecode 01:02:03;04']],
    ['another rate', { framesPerSecond: { num: 24_000, den: 1001 } }, ['rate 24000/1001']],
    ['another pixel aspect', { pixelAspect: 2 }, ['pixelAspect 2']],
  ])('%s', async (_name, attributes, said) => {
    expect(await differing(await written('zip', attributes), 'zip')).toEqual({ faults: [], said });
  });

  test('no colour that is neutral', async () => {
    const { bytes } = await encoded({ width: WIDTH, height: HEIGHT, ...forms.zip }, grainy(WIDTH, HEIGHT), {
      timecode: asked.timecode,
      framesPerSecond: asked.framesPerSecond,
    });
    expect(await differing(bytes, 'zip')).toEqual({ faults: [], said: ['neutral null'] });
  });
});

/** Where the value of an attribute begins. */
const place = (bytes: Buffer, name: string): number =>
  attributesOf(bytes).attributes.get(name)?.at ?? Number.NaN;
/** Another name of as many letters, so that the attribute is gone. */
const rename = (bytes: Buffer, from: string, to: string): number =>
  bytes.write(to, bytes.indexOf(`${from}\0`), 'latin1');

describe('each spoiled place of a header is found', () => {
  const cases: [name: string, form: Form, spoil: (bytes: Buffer) => void, found: RegExp][] = [
    [
      'compression byte: of another form',
      'zip',
      (bytes) => bytes.writeUInt8(2, place(bytes, 'compression')),
      /chunk|offset table/,
    ],
    [
      'compression byte: none',
      'zip',
      (bytes) => bytes.writeUInt8(0, place(bytes, 'compression')),
      /chunk|offset table/,
    ],
    [
      'compression byte: ZIP in the ACES container',
      'aces',
      (bytes) => bytes.writeUInt8(3, place(bytes, 'compression')),
      /chunk|belong to no chunk/,
    ],
    [
      'compression byte: no such number',
      'zip',
      (bytes) => bytes.writeUInt8(10, place(bytes, 'compression')),
      /compression 10/,
    ],
    [
      'data window: one line less',
      'zip',
      (bytes) => bytes.writeInt32LE(38, place(bytes, 'dataWindow') + 12),
      /windows 0,0 19,38|chunk/,
    ],
    [
      'data window: one column more',
      'zip',
      (bytes) => bytes.writeInt32LE(20, place(bytes, 'dataWindow') + 8),
      /windows|chunk|zlib/,
    ],
    [
      'data window: begins elsewhere',
      'aces',
      (bytes) => bytes.writeInt32LE(1, place(bytes, 'dataWindow') + 4),
      /chunk/,
    ],
    [
      'data window: beyond every picture',
      'zip',
      (bytes) => bytes.writeInt32LE(2 ** 31 - 1, place(bytes, 'dataWindow') + 8),
      /dataWindow of/,
    ],
    [
      'data window: more lines than the file has places for',
      'zip',
      (bytes) => bytes.writeInt32LE(65_535, place(bytes, 'dataWindow') + 12),
      /ends inside the offset table/,
    ],
    [
      'display window',
      'zip',
      (bytes) => bytes.writeInt32LE(21, place(bytes, 'displayWindow') + 8),
      /windows 0,0 19,39 of 0,0 21,39/,
    ],
    [
      'line order: from below',
      'zip',
      (bytes) => bytes.writeUInt8(1, place(bytes, 'lineOrder')),
      /lineOrder decreasing-y/,
    ],
    [
      'line order: none',
      'zip',
      (bytes) => bytes.writeUInt8(2, place(bytes, 'lineOrder')),
      /lineOrder random-y/,
    ],
    [
      'line order: no such number',
      'zip',
      (bytes) => bytes.writeUInt8(3, place(bytes, 'lineOrder')),
      /line order 3/,
    ],
    [
      'channels: out of order',
      'zip',
      (bytes) => bytes.write('H', place(bytes, 'channels'), 'latin1'),
      /channels out of order/,
    ],
    [
      'channels: another name',
      'zip',
      (bytes) => bytes.write('A', place(bytes, 'channels'), 'latin1'),
      /no channel B|channels A half/,
    ],
    [
      'channels: floats',
      'zip',
      (bytes) => bytes.writeInt32LE(2, place(bytes, 'channels') + 2),
      /channel B of float values|zlib|chunk/,
    ],
    [
      'channels: a type that there is not',
      'zip',
      (bytes) => bytes.writeInt32LE(3, place(bytes, 'channels') + 2),
      /pixel type 3 of channel B/,
    ],
    [
      'channels: pLinear',
      'zip',
      (bytes) => bytes.writeUInt8(1, place(bytes, 'channels') + 6),
      /channels B half otherwise/,
    ],
    [
      'channels: every second column',
      'zip',
      (bytes) => bytes.writeInt32LE(2, place(bytes, 'channels') + 10),
      /channel B sampled 2x1/,
    ],
    [
      'channels: every second line',
      'zip',
      (bytes) => bytes.writeInt32LE(2, place(bytes, 'channels') + 14),
      /channel B sampled 1x2/,
    ],
    ...Array.from({ length: 8 }, (_, index): (typeof cases)[number] => [
      `chromaticities: number ${index + 1} in its last bit`,
      'zip',
      (bytes) =>
        bytes.writeUInt32LE(
          (bytes.readUInt32LE(place(bytes, 'chromaticities') + 4 * index) ^ 1) >>> 0,
          place(bytes, 'chromaticities') + 4 * index,
        ),
      /colours others/,
    ]),
    [
      'chromaticities: absent',
      'zip',
      (bytes) => rename(bytes, 'chromaticities', 'chromaticitias'),
      /colours others/,
    ],
    [
      'ACES flag: absent',
      'aces',
      (bytes) => rename(bytes, 'acesImageContainerFlag', 'acesImageContainerFlog'),
      /no attribute acesImageContainerFlag/,
    ],
    [
      'ACES flag: 0',
      'aces',
      (bytes) => bytes.writeInt32LE(0, place(bytes, 'acesImageContainerFlag')),
      /acesImageContainerFlag 0, not 1/,
    ],
    [
      'adoptedNeutral: x',
      'zip',
      (bytes) => bytes.writeFloatLE(0.3127, place(bytes, 'adoptedNeutral')),
      /neutral 0\.3127/,
    ],
    [
      'adoptedNeutral: y',
      'zip',
      (bytes) => bytes.writeFloatLE(0.329, place(bytes, 'adoptedNeutral') + 4),
      /neutral 0\.3216/,
    ],
    [
      'adoptedNeutral: in the comments of the container',
      'aces',
      (bytes) => bytes.write('5', bytes.indexOf('0.32168 0.33767') + 6, 'latin1'),
      /neutral 0\.32165/,
    ],
    ...Array.from({ length: 64 }, (_, bit): (typeof cases)[number] => [
      `timecode: bit ${bit}`,
      'zip',
      (bytes) => {
        const at = place(bytes, 'timeCode') + (bit >> 3);
        bytes.writeUInt8(bytes.readUInt8(at) ^ (1 << (bit & 7)), at);
      },
      /timecode (?!01:02:03:04$)/,
    ]),
    ['timecode: absent', 'zip', (bytes) => rename(bytes, 'timeCode', 'timeCude'), /timecode null/],
    [
      'offset table: one byte further',
      'zip',
      (bytes) => bytes.writeUInt8(bytes.readUInt8(readHeader(bytes).end) + 1, readHeader(bytes).end),
      /chunk 0 of 3/,
    ],
    [
      'offset table: behind the end',
      'zip',
      (bytes) => bytes.writeBigUInt64LE(BigInt(bytes.length), readHeader(bytes).end),
      /chunk 0 of 3 lies at byte/,
    ],
    [
      'offset table: never written',
      'zip',
      (bytes) => bytes.writeBigUInt64LE(0n, readHeader(bytes).end + 8),
      /chunk 1 of 3 was never written/,
    ],
    [
      'chunk size: one more',
      'zip',
      (bytes) =>
        bytes.writeInt32LE(bytes.readInt32LE(readHeader(bytes).end + 28) + 1, readHeader(bytes).end + 28),
      /chunk|overlaps/,
    ],
    [
      'chunk size: negative',
      'zip',
      (bytes) => bytes.writeInt32LE(-1, readHeader(bytes).end + 28),
      /has -1 bytes/,
    ],
    [
      'chunk size: two bytes for sixteen lines',
      'zip',
      (bytes) => bytes.writeInt32LE(1, readHeader(bytes).end + 28),
      /has 1 bytes, which cannot be 1920/,
    ],
    [
      'attribute size: beyond the file',
      'zip',
      (bytes) => bytes.writeInt32LE(2 ** 30, place(bytes, 'adoptedNeutral') - 4),
      /does not end inside the file/,
    ],
  ];
  test.each(cases)('%s', async (_name, form, spoil, found) => {
    const bytes = Buffer.from(whole[form]);
    spoil(bytes);
    expect(bytes.equals(whole[form])).toBe(false);
    const { faults, said } = await differing(bytes, form);
    expect([...faults, ...(said[0] === 'nothing' ? [] : said)].some((words) => found.test(words))).toBe(true);
  });
});
