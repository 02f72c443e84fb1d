/** Attributes of a header: bytes as the file layout has them, values and back, refusals. */
import { describe, expect, test } from 'vitest';
import {
  type ExrAttribute,
  type ExrType,
  type ExrValues,
  exrAttribute,
  exrValue,
} from '../../../media/formats/exr/attribute.ts';
import { AP0 } from '../../../media/formats/exr/aces-rules.ts';
import { frameAttributes } from '../../../media/formats/exr/frame-attributes.ts';
import { headerLayout } from '../../../media/formats/exr/header.ts';
import { attributesOf } from '../../../check/master/exr/header.ts';
import { StillDamage } from '../../../media/formats/still.ts';
import { packTimecode } from '../../../media/formats/timecode.ts';
import { addFrames, parseTimecode } from '../../../media/time/timecode.ts';

const channel = { name: 'G', pixelType: 'half', linear: false, xSampling: 1, ySampling: 1 } as const;
const cases: { readonly [Type in ExrType]: readonly [ExrValues[Type], string] } = {
  box2i: [{ xMin: -1, yMin: 0, xMax: 2, yMax: 256 }, 'ffffffff000000000200000000010000'],
  chlist: [
    [channel, { ...channel, name: 'left.R', pixelType: 'float', linear: true, ySampling: 2 }],
    '4700010000000000000001000000010000006c6566742e52000200000001000000010000000200000000',
  ],
  chromaticities: [
    { red: [0.5, 0.25], green: [0, 1], blue: [0.125, -0.5], white: [1, 2] },
    '0000003f0000803e000000000000803f0000003e000000bf0000803f00000040',
  ],
  compression: ['zip', '03'],
  double: [-2, '00000000000000c0'],
  float: [0.5, '0000003f'],
  int: [-2, 'feffffff'],
  keycode: [[1, 2, 3, 4, 5, 6, 7], '01000000020000000300000004000000050000000600000007000000'],
  lineOrder: ['decreasing-y', '01'],
  m33f: [
    [1, 0, 0, 0, 1, 0, 0, 0, 1],
    '0000803f0000000000000000000000000000803f0000000000000000000000000000803f',
  ],
  m44f: [
    [1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1],
    `0000803f00000040${'00000000'.repeat(13)}0000803f`,
  ],
  preview: [{ width: 1, height: 1, rgba: Buffer.from('01020304', 'hex') }, '010000000100000001020304'],
  rational: [{ num: -24_000, den: 4_294_967_295 }, '40a2ffffffffffff'],
  string: ['bell é', '62656c6c20c3a9'],
  stringvector: [['left', ''], '040000006c65667400000000'],
  timecode: [{ timeAndFlags: 0x01020344, userData: 0xffffffff }, '44030201ffffffff'],
  v2f: [[0.5, -1], '0000003f000080bf'],
  v2i: [[1, -1], '01000000ffffffff'],
  v3f: [[0.5, -1, 2], '0000003f000080bf00000040'],
  v3i: [[1, -1, 2], '01000000ffffffff02000000'],
};

function holds<Type extends ExrType>(type: Type, [value, hex]: readonly [ExrValues[Type], string]): void {
  const attribute = exrAttribute('a', type, value);
  expect(Buffer.from(attribute.bytes).toString('hex')).toBe(hex);
  expect(exrValue(new Map([['a', attribute]]), 'a', type)).toEqual(value);
  const cut: ExrAttribute = { ...attribute, bytes: attribute.bytes.subarray(0, -1) };
  // A text may have any length.
  if (type !== 'string') expect(() => exrValue(new Map([['a', cut]]), 'a', type)).toThrow(StillDamage);
}

test.each(Object.keys(cases) as ExrType[])(
  '%s: bytes as in “OpenEXR File Layout”, the value back, and no byte less',
  (type) => {
    holds(type, cases[type]);
  },
);

test.each<[string, () => ExrAttribute]>([
  ['a whole number beyond 32 bits', () => exrAttribute('imageCounter', 'int', 2 ** 31)],
  ['a fraction for a whole number', () => exrAttribute('imageCounter', 'int', 0.5)],
  ['an infinite float', () => exrAttribute('isoSpeed', 'float', Number.POSITIVE_INFINITY)],
  ['a float beyond 32 bits', () => exrAttribute('isoSpeed', 'float', 1e39)],
  ['a negative denominator', () => exrAttribute('captureRate', 'rational', { num: 1, den: -1 })],
  ['two numbers of three', () => exrAttribute('cameraPosition', 'v3f', [1, 2])],
])('%s is refused with the name of the attribute', (_name, make) => {
  expect(make).toThrow(/^[a-zA-Z]+: /);
  expect(make).toThrow(RangeError);
});

test.each([
  ['behind the channels', '4700010000000000000001000000010000000000', 'bytes behind the list'],
  ['a pixel type that there is not', '47000300000000000000010000000100000000', 'pixel type 3 of channel G'],
  ['a list without an end', '470001000000000000000100000001000000', 'does not end'],
])('channels, %s: damaged', (_name, hex, words) => {
  const attribute = { name: 'channels', type: 'chlist', bytes: Buffer.from(hex, 'hex') };
  expect(() => exrValue(new Map([['channels', attribute]]), 'channels', 'chlist')).toThrow(words);
});

test('a value of another type is damage, an absent one is null', () => {
  const attributes = new Map([['owner', exrAttribute('owner', 'string', 'x')]]);
  expect(() => exrValue(attributes, 'owner', 'float')).toThrow(
    'attribute owner is of type string, not float',
  );
  expect(exrValue(attributes, 'comments', 'string')).toBeNull();
});

describe('the header', () => {
  test('stands in order of names, and names of 32 letters raise the flag for long ones', () => {
    const texts = ['zinc', 'Bell', 'aBell'].map((name) => exrAttribute(name, 'string', name));
    const read = (attributes: readonly ExrAttribute[]): ReturnType<typeof attributesOf> =>
      attributesOf(headerLayout(attributes).bytes);
    expect([...read(texts).attributes.keys()]).toEqual(['Bell', 'aBell', 'zinc']);
    expect(read(texts).version).toBe(2);
    expect(read([exrAttribute('a'.repeat(32), 'string', '')]).version).toBe(0x402);
    expect(read([exrAttribute('a'.repeat(31), 'string', '')]).version).toBe(2);
  });

  test('every attribute says where its value lies', () => {
    const { bytes, places } = headerLayout([
      exrAttribute('owner', 'string', 'Foundry'),
      exrAttribute('comments', 'string', 'owner\0string'),
    ]);
    const at = places.get('owner') ?? 0;
    expect(attributesOf(bytes).attributes.get('owner')?.at).toBe(at);
    expect(bytes.toString('latin1', at, at + 7)).toBe('Foundry');
  });

  test.each([
    ['no name', ['']],
    ['a blank', ['a b']],
    ['beyond ASCII', ['é']],
    ['more than 255 letters', ['a'.repeat(256)]],
    ['twice the same', ['a', 'a']],
  ])('names with %s are refused', (_name, names) => {
    expect(() => headerLayout(names.map((name) => exrAttribute(name, 'string', '')))).toThrow(RangeError);
  });
});

describe('what a frame says', () => {
  test.each(['owner', 'channels', 'timeCode', 'headerChecksum', 'acesImageContainerFlag', 'chunkCount'])(
    '%s is no free name',
    (name) => {
      expect(() => frameAttributes({ chromaticities: AP0, free: { [name]: 'x' } })).toThrow(
        `${name} is no free name`,
      );
    },
  );
  test.each(['2026-11-25 10:00:00', '2026:11:25T10:00:00', '2026:11:25 10:00', ''])(
    '%j is no date of a frame',
    (capDate) => {
      expect(() => frameAttributes({ chromaticities: AP0, capDate })).toThrow('is not YYYY:MM:DD hh:mm:ss');
    },
  );
  test('what is not known is not written', () => {
    expect(frameAttributes({ chromaticities: AP0 }).map(({ name }) => name)).toEqual([
      'chromaticities',
      'pixelAspectRatio',
    ]);
  });
});

// Bits as ImfTimeCode.h of OpenEXR has them (TV60 packing); exrheader prints the same in write.test.ts.
test.each([
  ['01:02:03:04', 24, 0x01020304],
  ['01:02:03;04', 30, 0x01020344],
  ['23:59:59;29', 30, 0x23595969],
  ['12:34:56:24', 25, 0x12345624],
  ['00:00:00:01', 50, 0x00008000],
  ['10:20:30:49', 50, 0x1020b024],
  ['10:20:30:48', 50, 0x10203024],
  ['23:59:59;59', 60, 0x2359d969],
  ['01:00:00:47', 48, 0x01008023],
])('timecode %s at base %d is 0x%s', (label, base, word) => {
  const timecode = parseTimecode(label, base);
  expect(packTimecode(timecode)?.timeAndFlags.toString(16)).toBe(word.toString(16));
});

test('each frame of a second has words of its own up to base 60; above it there are none', () => {
  for (const base of [24, 25, 30, 48, 50, 60])
    expect(
      new Set(
        Array.from({ length: base }, (_, frame) => packTimecode({ frame, base, drop: false })?.timeAndFlags),
      ).size,
    ).toBe(base);
  for (const base of [96, 100, 120]) expect(packTimecode({ frame: 0, base, drop: false })).toBeNull();
});

test('a count beyond the day starts it again', () => {
  const day = addFrames(parseTimecode('23:59:59:24', 25), 0);
  expect(packTimecode({ ...day, frame: day.frame + 1 })?.timeAndFlags).toBe(0);
});
