/** Which stills are due of a clip, how they are written and read back, and what is said of them: without a program. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { judgeStills } from '../../coordinator/gate/stills.ts';
import { understand } from '../../coordinator/settings/interpret.ts';
import { codedForSrgb, isMet, stillDifference } from '../../check/stills/pixels.ts';
import { readStill, StillDamaged } from '../../check/stills/png.ts';
import { encode } from '../../media/colour/curves.ts';
import { decideStills, stillFrames } from '../../profiles/stills/decide.ts';
import { usualStills } from '../../profiles/stills/usual.ts';
import { pngOf, type PngPicture } from '../../worker/stills/png.ts';
import { clip, facts, toolchain } from '../support/world.ts';

test('frames are the middles of equal parts, each once, and all of a clip of fewer', () => {
  expect(stillFrames(24, 4)).toEqual([3, 9, 15, 21]);
  expect(stillFrames(36, 4)).toEqual([4, 13, 22, 31]);
  expect(stillFrames(3, 4)).toEqual([0, 1, 2]);
  expect(stillFrames(1, 4)).toEqual([0]);
  expect(stillFrames(10, 0)).toEqual([]);
  fc.assert(
    fc.property(fc.integer({ min: 1, max: 1e6 }), fc.integer({ min: 1, max: 24 }), (frames, count) => {
      const found = stillFrames(frames, count);
      expect(found).toHaveLength(Math.min(frames, count));
      expect(new Set(found).size).toBe(found.length);
      expect(Math.min(...found)).toBeGreaterThanOrEqual(0);
      expect(Math.max(...found)).toBeLessThan(frames);
    }),
  );
});

const videoOf = (fields: Partial<typeof facts.video>): typeof facts => ({
  ...facts,
  video: { ...facts.video, ...fields },
});
const decided = (of: typeof facts, asked = usualStills) => decideStills({ clip, facts: of, asked });

test('a picture is made smaller by whole pixels, and one that is small enough stays as it is', () => {
  const size = (width: number, height: number): unknown => {
    const { stills } = decided(videoOf({ width, height }));
    return stills === null ? null : [stills.width, stills.height, stills.reduce];
  };
  expect(size(1920, 1080)).toEqual([960, 540, { left: 0, top: 0, width: 1920, height: 1080 }]);
  expect(size(960, 540)).toEqual([960, 540, { left: 0, top: 0, width: 960, height: 540 }]);
  expect(size(4096, 2160)).toEqual([819, 432, { left: 0, top: 0, width: 4095, height: 2160 }]);
  expect(size(1998, 1080)).toEqual([666, 360, { left: 0, top: 0, width: 1998, height: 1080 }]);
});

test('pixels come out square and upright: of what is too many one way fewer are made, and nothing is enlarged', () => {
  const shape = (fields: Partial<typeof facts.video>): unknown => {
    const { stills } = decided(videoOf(fields));
    return stills === null ? null : [stills.width, stills.height, stills.source];
  };
  // 16:9 and 4:3 of 720 x 576 lines by their pixels of ITU-R BT.601 (59:54 is 12:11 of 702 columns; values as files have them).
  expect(shape({ width: 720, height: 576, pixelAspect: { num: 16, den: 15 } })).toEqual([
    720,
    540,
    { width: 720, height: 576 },
  ]);
  expect(shape({ width: 720, height: 480, pixelAspect: { num: 8, den: 9 } })).toEqual([
    640,
    480,
    { width: 720, height: 480 },
  ]);
  // A picture that was squeezed twice over, and lies on its side.
  expect(
    shape({
      width: 1600,
      height: 1200,
      pixelAspect: { num: 2, den: 1 },
      rotation: 90,
      pixelFormat: 'yuv420p',
    }),
  ).toEqual([600, 1600, { width: 1200, height: 1600 }]);
});

test('what no picture can be made of is left out with a note, and holds nothing', () => {
  const { stills, notes } = decided(videoOf({ pixelFormat: 'pal8' }));
  expect([stills, notes.map(({ code, found }) => [code, found])]).toEqual([
    null,
    [['stills-left-out', 'pixel format pal8']],
  ]);
});

test('of the settings the nearest level counts field by field, and the command line before all', () => {
  const due = (stills?: number, show: object = {}, roll: object = {}): unknown =>
    understand(
      facts,
      { roll: 'A001', clip },
      { version: 1, show, rolls: { A001: roll } },
      { profiles: [], stated: null, usual: [], ...(stills === undefined ? {} : { stills }) },
    ).settings.stills;
  expect(due()).toEqual(usualStills);
  expect(due(undefined, { stills: { count: 8, bits: 16 } }, { stills: { count: 2 } })).toEqual({
    count: 2,
    width: 960,
    bits: 16,
  });
  expect(due(6, { stills: { count: 0 } })).toEqual({ ...usualStills, count: 6 });
  expect(due(0)).toBeUndefined();
  expect(due(undefined, { stills: { count: 0 } })).toBeUndefined();
});

const picture = (bits: 8 | 16, width: number, height: number, seed: number): PngPicture => ({
  width,
  height,
  bits,
  samples: Buffer.from(
    Array.from({ length: (3 * width * height * bits) / 8 }, (_, at) => (at * seed + (at >> 3)) & 0xff),
  ),
  primaries: seed % 2 === 0 ? 'bt709' : 'bt2020',
  texts: [
    ['Title', 'Glocke läutet'],
    ['Frame', String(seed)],
  ],
});

test('what is written is read back sample for sample; another byte anywhere is found', async () => {
  for (const [bits, width, height, seed] of [
    [8, 1, 1, 2],
    [16, 7, 5, 3],
    [8, 33, 9, 6],
    [16, 2, 3, 7],
  ] as const) {
    const written = picture(bits, width, height, seed);
    const file = await pngOf(written);
    const read = readStill(file);
    expect([read.width, read.height, read.bits]).toEqual([width, height, bits]);
    const plain = Buffer.alloc(written.samples.length);
    for (const [at, value] of read.samples.entries())
      if (bits === 8) plain.writeUInt8(value, at);
      else plain.writeUInt16BE(value, 2 * at);
    expect(plain.equals(written.samples)).toBe(true);
    expect(read.coding).toEqual([seed % 2 === 0 ? 1 : 9, 13, 0, 1]);
    expect(read.perUnit).toBeNull();
    expect(Object.fromEntries(read.texts)).toEqual({ Title: 'Glocke läutet', Frame: String(seed) });
    for (let at = 0; at < file.length; at += 1) {
      const other = Buffer.from(file);
      other.writeUInt8(other.readUInt8(at) ^ 0x10, at);
      expect(() => readStill(other), `byte ${at}`).toThrow(StillDamaged);
    }
    for (const cut of [8, 20, file.length - 1])
      expect(() => readStill(file.subarray(0, cut))).toThrow(StillDamaged);
  }
});

test('codes for a display of BT.1886 are the light of the same codes of sRGB, by the values of both standards', () => {
  // IEC 61966-2-1: the toe ends at 0.0031308, coded 0.04045; white is white. BT.1886, Annex 1, with a black of 0: a power of 2.4.
  expect(codedForSrgb(0, 'bt1886')).toBe(0);
  expect(codedForSrgb(1, 'bt1886')).toBeCloseTo(1, 12);
  expect(codedForSrgb(0.003_130_8 ** (1 / 2.4), 'bt1886')).toBeCloseTo(0.040_45, 4);
  expect(codedForSrgb(0.18 ** (1 / 2.4), 'bt1886')).toBeCloseTo(0.461_36, 4);
  expect(codedForSrgb(0.5, 'srgb')).toBe(0.5);
  for (let code = 0; code <= 1; code += 1 / 64)
    expect(codedForSrgb(code, 'bt1886')).toBeCloseTo(encode({ name: 'srgb' }, code ** 2.4), 5);
});

test('pixels are met to rounding; a shift of three steps, a few far ones, and none at all are not', () => {
  const read = { width: 40, height: 25, bits: 8 as const, samples: new Uint16Array(3000).fill(100) };
  const places = Array.from({ length: 1000 }, (_, at) => ({ x: at % 40, y: Math.floor(at / 40) }));
  const found = (change: (at: number) => number, of = places) =>
    isMet(
      stillDifference(
        { ...read, chunks: [], coding: [], perUnit: null, texts: new Map() },
        of,
        of.map((_, at) => {
          const code = (100 + change(at)) / 255;
          return [code, code, code];
        }),
      ),
    );
  expect(found((at) => (at % 3) / 4 - 0.25)).toBe(true);
  expect(found(() => 3)).toBe(false);
  expect(found((at) => (at === 500 ? 40 : 0))).toBe(false);
  expect(found(() => 0, [])).toBe(false);
});

test('a clip of which stills are due and nothing is recorded is held', () => {
  const settings = { camera: null, profiles: [], applied: [], stills: usualStills };
  const { findings } = judgeStills({ clip, facts, findings: [], settings }, { roll: 'A001', toolchain }, []);
  expect(findings.map(({ code }) => code)).toEqual(['stills-absent']);
});
