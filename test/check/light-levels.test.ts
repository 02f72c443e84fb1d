/** MaxCLL and MaxFALL, read a second time: by published values, and against what a maker may write. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { codesOf, type LightRead, LightReader, partOfCode } from '../../check/light/reader.ts';
import { fileLightFaults, lightLevelsVerdict } from '../../check/light-levels.ts';
import { LightMeter } from '../../proof/light/meter.ts';

type Codes = readonly [y: number, cb: number, cr: number];

function picture(width: number, height: number, codes: (x: number, y: number) => Codes): Buffer {
  const samples = new Uint16Array((width * height * 3) / 2);
  for (let y = 0; y < height; y += 1)
    for (let x = 0; x < width; x += 1) {
      const [luma, cb, cr] = codes(x, y);
      samples[y * width + x] = luma;
      const chroma = width * height + (y >> 1) * (width >> 1) + (x >> 1);
      samples[chroma] = cb;
      samples[chroma + (width * height) / 4] = cr;
    }
  return Buffer.from(samples.buffer);
}

function readOf(width: number, height: number, ...pictures: readonly Buffer[]): LightRead {
  const reader = new LightReader({ width, height });
  for (const one of pictures) reader.take(one);
  return reader.read();
}

// SMPTE ST 2084 and ITU-R BT.2408-8, Table 1: 58 % of PQ is 203 cd/m², 75 % 1000 (983); BT.2100: R', G', B' from Y', Cb', Cr' of narrow range.
test.each<[string, Codes, number, number]>([
  ['white', [940, 512, 512], 10_000, 10_000],
  ['beyond white', [1019, 512, 512], 10_000, 10_000],
  ['black', [64, 512, 512], 0, 0],
  ['below black', [4, 512, 512], 0, 0],
  ['the reference white', [572, 512, 512], 200, 204],
  ['three quarters', [721, 512, 512], 975, 990],
  ['red of 100 cd/m²', [181, 448, 740], 97, 103],
  ['green of 100 cd/m²', [366, 348, 303], 97, 103],
  ['blue of 100 cd/m²', [90, 740, 494], 97, 103],
])('%s has the light of its standard', (_, codes, least, most) => {
  const { greatest, average, frames, whole } = readOf(
    16,
    8,
    picture(16, 8, () => codes),
  );
  expect({ frames, whole }).toEqual({ frames: 1, whole: true });
  expect(greatest).toBeGreaterThanOrEqual(least);
  expect(greatest).toBeLessThanOrEqual(most);
  expect(average).toBeCloseTo(greatest, 6);
});

test('the greatest mean is that of a whole frame, and a cell is eight by eight pixels on a grid', () => {
  const white = picture(24, 18, (x, y) => [x < 8 && y >= 8 && y < 16 ? 940 : 64, 512, 512]);
  const seen = readOf(
    24,
    18,
    picture(24, 18, () => [64, 512, 512]),
    white,
  );
  expect(seen.cell).toBe(876);
  expect(seen.average).toBeCloseTo((10_000 * 64) / (24 * 18), 6);
  expect(seen.brightest).toEqual([1, 1]);
  // What is right of the last whole cell and below it is in no cell, and in the mean.
  const corner = readOf(
    12,
    10,
    picture(12, 10, (x, y) => [x >= 8 || y >= 8 ? 940 : 64, 512, 512]),
  );
  expect(corner).toMatchObject({ cell: 0, greatest: 10_000 });
});

test('a stream is the same however it is cut, and a part of a picture is said', () => {
  const two = Buffer.concat([
    picture(16, 8, (x, y) => [64 + 20 * x + y, 500, 530]),
    picture(16, 8, (x, y) => [900 - 20 * x + y, 520, 480]),
  ]);
  const whole = readOf(16, 8, two);
  expect(whole).toMatchObject({ frames: 2, whole: true });
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 1, max: 300 }), { minLength: 1 }), (cuts) => {
      const reader = new LightReader({ width: 16, height: 8 });
      for (let at = 0, cut = 0; at < two.length; cut += 1) {
        const next = at + (cuts[cut % cuts.length] as number);
        reader.take(two.subarray(at, next));
        at = next;
      }
      expect(reader.read()).toEqual(whole);
    }),
    { numRuns: 30 },
  );
  expect(readOf(16, 8, two.subarray(0, two.length - 1))).toMatchObject({ frames: 1, whole: false });
});

/** Two pieces of code from one standard. */
test('what the maker measures passes, of any pictures', () => {
  const code = fc.integer({ min: 4, max: 1019 });
  fc.assert(
    fc.property(fc.array(fc.tuple(code, code, code), { minLength: 1, maxLength: 40 }), (colours) => {
      const at = (x: number, y: number): Codes => colours[(x + 16 * y) % colours.length] as Codes;
      const one = picture(16, 8, at);
      const meter = new LightMeter({ width: 16, height: 8 });
      meter.take(one);
      const { light } = meter.seen();
      expect(lightLevelsVerdict(readOf(16, 8, one), light, 1).faults).toEqual([]);
    }),
    { numRuns: 200 },
  );
});

/** Luma of another code. */
function mapped(one: Buffer, code: (code: number) => number): Buffer {
  const bytes = Buffer.from(one);
  for (let at = 0; at < 16 * 8; at += 1)
    bytes.writeUInt16LE(Math.min(Math.max(Math.round(code(bytes.readUInt16LE(2 * at))), 4), 1019), 2 * at);
  return bytes;
}
function grey(one: Buffer): Buffer {
  const bytes = Buffer.from(one);
  for (let at = 16 * 8; at < bytes.length / 2; at += 1) bytes.writeUInt16LE(512, 2 * at);
  return bytes;
}
function everySecondLine(one: Buffer): Buffer {
  const bytes = Buffer.from(one);
  for (let y = 0; y < 8; y += 2) bytes.copy(bytes, 32 * (y + 1), 32 * y, 32 * (y + 1));
  return bytes;
}

const seen: LightRead = {
  frames: 24,
  whole: true,
  greatest: 640.2,
  average: 88.4,
  brightest: [3, 7],
  cell: codesOf(600),
};
const right = { greatest: 641, average: 89 };

describe('what was written', () => {
  test('is what was read, rounded up', () => {
    expect(lightLevelsVerdict(seen, right, 24).faults).toEqual([]);
    const dark = { ...seen, greatest: 0, average: 0 };
    expect(lightLevelsVerdict(dark, { greatest: 1, average: 1 }, 24).faults).toEqual([]);
    // H.265, 7.4.2: one more where the message would need a byte more.
    const full = { ...seen, greatest: 511.5, average: 2.5 };
    expect(lightLevelsVerdict(full, { greatest: 513, average: 3 }, 24).faults).toEqual([]);
  });

  test.each<[string, typeof right | null, number, string]>([
    ['a tenth more MaxCLL', { ...right, greatest: 705 }, 24, 'MaxCLL 705'],
    ['a tenth less MaxCLL', { ...right, greatest: 577 }, 24, 'MaxCLL 577'],
    ['two more MaxCLL', { ...right, greatest: 643 }, 24, 'MaxCLL 643'],
    ['a tenth more MaxFALL', { ...right, average: 97 }, 24, 'MaxFALL 97'],
    ['one less MaxFALL', { ...right, average: 88 }, 24, 'MaxFALL 88'],
    ['one frame more than was read', right, 25, 'light of 24 frames'],
    ['0, which says that nothing is known', { greatest: 641, average: 0 }, 24, 'MaxFALL 0'],
  ])('%s is held', (_, said, frames, found) => {
    expect(lightLevelsVerdict(seen, said, frames).faults).toEqual([
      expect.objectContaining({ code: 'light-levels-differ', found }),
    ]);
  });

  /** What a maker with a fault would measure of these pictures, by a meter that has none. */
  test.each<[string, (frames: readonly Buffer[]) => readonly Buffer[]]>([
    ['of a clip that is one frame shorter', (frames) => frames.slice(0, -1)],
    [
      'of codes that are taken for full range',
      (frames) => frames.map((one) => mapped(one, (code) => 64 + (code * 876) / 1023)),
    ],
    [
      'of full range that is taken for limited',
      (frames) => frames.map((one) => mapped(one, (code) => ((code - 64) * 1023) / 876)),
    ],
    [
      'of a neighbour, a third of a stop brighter',
      (frames) => frames.map((one) => mapped(one, (code) => code + 20)),
    ],
    ['of its luma alone', (frames) => frames.map(grey)],
    ['of every second line', (frames) => frames.map(everySecondLine)],
  ])('light %s is held', (_, fault) => {
    const frames = [0, 1, 2].map((frame) =>
      picture(16, 8, (x, y) => [120 + 10 * x + 5 * y + 100 * frame, 480, 540]),
    );
    const meter = new LightMeter({ width: 16, height: 8 });
    for (const one of fault(frames)) meter.take(one);
    const { light } = meter.seen();
    expect(lightLevelsVerdict(readOf(16, 8, ...frames), light, 3).faults).not.toEqual([]);
  });

  test('nothing at all, and a part of a frame, are held', () => {
    expect(lightLevelsVerdict(seen, null, 24).faults).toHaveLength(2);
    expect(lightLevelsVerdict({ ...seen, whole: false }, right, 24).faults).toHaveLength(1);
  });
});

describe('what the file shows', () => {
  /** Quality 19 loses about four codes of 10 bits. */
  const file: LightRead = { ...seen, greatest: 700, average: 87 };
  const found = (said: typeof right | null, of: LightRead | null = file, error: number | null = 4) =>
    fileLightFaults(of, said, error).map((one) => one.found);

  test('ringing at an edge, and noise that was lost, are nothing', () => {
    expect(found(right)).toEqual([]);
  });

  // Quality 12 to 38 in x265, 320 x 192 and 640 x 360: stated, and what the decoded file has (light in cd/m², cell in codes; docs/mechanisms/content-light.md).
  test.each<[string, typeof right, Pick<LightRead, 'greatest' | 'average' | 'cell'>, number]>([
    ['flat', { greatest: 33, average: 33 }, { greatest: 32.3, average: 32.29, cell: codesOf(32.3) }, 0],
    ['black', { greatest: 1, average: 1 }, { greatest: 0, average: 0, cell: 0 }, 0],
    [
      'strobing',
      { greatest: 1005, average: 1005 },
      { greatest: 1004, average: 993.7, cell: codesOf(992) },
      1,
    ],
    ['dark grain', { greatest: 1, average: 1 }, { greatest: 0.1, average: 0.078, cell: 70 }, 4.7],
    ['one star', { greatest: 1005, average: 1 }, { greatest: 330, average: 0.08, cell: 60 }, 2],
    ['a checker', { greatest: 1005, average: 503 }, { greatest: 4300, average: 511.3, cell: 352 }, 30],
    ['noise', { greatest: 10_000, average: 187 }, { greatest: 10_000, average: 140, cell: 460 }, 149],
    [
      'bars',
      { greatest: 1007, average: 879 },
      { greatest: 1220, average: 874.8, cell: codesOf(1007) + 11.3 },
      5.2,
    ],
  ])('of %s is no fault', (_, said, light, error) => {
    expect(found(said, { ...seen, ...light }, error)).toEqual([]);
  });

  test.each<[string, typeof right | null, LightRead | null, number | null, RegExp]>([
    ['a MaxFALL of three quarters', { ...right, average: 66 }, file, 4, /^MaxFALL 66/],
    ['a MaxFALL of five quarters', { ...right, average: 111 }, file, 4, /^MaxFALL 111/],
    [
      'a tenth less MaxFALL of a plain clip',
      { ...right, average: 80 },
      { ...file, average: 88.4 },
      0.5,
      /^MaxFALL 80/,
    ],
    ['a tenth less MaxCLL of a plain clip', { ...right, greatest: 540 }, file, 0.5, /^MaxCLL 540/],
    ['a MaxCLL of half', { ...right, greatest: 320 }, file, 4, /^MaxCLL 320/],
    ['a MaxCLL of habit', { ...right, greatest: 10_000 }, { ...file, greatest: 700 }, 4, /^MaxCLL 10000/],
    ['no statement', null, file, 4, /^nothing stated/],
    ['no whole frame', right, { ...file, frames: 0 }, 4, /^no whole frames/],
    ['no sketch', right, file, null, /^no error sketch/],
  ])('%s is held', (_, said, light, error, expected) => {
    const list = found(said, light, error);
    expect(list).toHaveLength(1);
    expect(list[0]).toMatch(expected);
  });

  test('a code is a hundredth of the light, and more in the dark', () => {
    expect(partOfCode(100)).toBeCloseTo(0.0115, 3);
    expect(partOfCode(0.1)).toBeGreaterThan(0.03);
    expect(codesOf(100)).toBeCloseTo(0.5081 * 876, 0);
  });
});
