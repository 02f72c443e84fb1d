/** Light levels of PQ pictures: measured, and put into a file in place of what stood there. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { contentLightOf, PLACEHOLDER } from '../../proof/light/form.ts';
import { LightMeter } from '../../proof/light/meter.ts';
import { writeContentLight } from '../../worker/content-light.ts';
import { freshFolder } from '../support/folder.ts';

type Codes = readonly [y: number, cb: number, cr: number];
const WIDTH = 8;
const HEIGHT = 4;

/** The left half of one colour, the right half of another. */
function picture(left: Codes, right: Codes): Buffer {
  const bytes = Buffer.alloc(WIDTH * HEIGHT * 3);
  const put = (sample: number, code: number): number => bytes.writeUInt16LE(code, 2 * sample);
  for (let y = 0; y < HEIGHT; y += 1)
    for (let x = 0; x < WIDTH; x += 1) put(y * WIDTH + x, (x < WIDTH / 2 ? left : right)[0]);
  for (const plane of [1, 2] as const)
    for (let at = 0; at < (WIDTH * HEIGHT) / 4; at += 1)
      put(
        WIDTH * HEIGHT + ((plane - 1) * WIDTH * HEIGHT) / 4 + at,
        (at % (WIDTH / 2) < WIDTH / 4 ? left : right)[plane],
      );
  return bytes;
}

function seen(...pictures: readonly Buffer[]) {
  const meter = new LightMeter({ width: WIDTH, height: HEIGHT });
  for (const one of pictures) meter.take(one);
  return meter.seen();
}

const black: Codes = [64, 512, 512];

describe('measured', () => {
  // SMPTE ST 2084: the signal 0.508 is 100 cd/m², 1 is 10 000; ITU-R BT.2408, Table 1: 58 % is 203. Codes of limited range.
  test.each<[string, Codes, number, number]>([
    ['white', [940, 512, 512], 10_000, 10_000],
    ['beyond white', [1019, 512, 512], 10_000, 10_000],
    ['white of standard range', [509, 512, 512], 99, 100],
    ['the reference white', [572, 512, 512], 200, 203],
    // BT.2020: Y' of red alone is 0.2627, of blue 0.0593, of green 0.678; Cb and Cr from (B' - Y') / 1.8814 and (R' - Y') / 1.4746.
    ['red of 100 cd/m² in R alone', [181, 448, 740], 95, 104],
    ['green of 100 cd/m² in G alone', [366, 348, 303], 95, 104],
    ['blue of 100 cd/m² in B alone', [90, 740, 494], 95, 104],
  ])('%s: the greatest of three channels', (_, codes, least, most) => {
    const { light, frames } = seen(picture(codes, codes));
    expect(frames).toBe(1);
    expect(light?.greatest).toBeGreaterThanOrEqual(least);
    expect(light?.greatest).toBeLessThanOrEqual(most);
    // All pixels are alike.
    expect(light?.average).toBe(light?.greatest);
  });

  test('the mean is of all pixels of the brightest frame, the greatest of all frames', () => {
    const white: Codes = [940, 512, 512];
    expect(seen(picture(black, black), picture(black, white), picture(black, black)).light).toEqual({
      greatest: 10_000,
      average: 5000,
    });
    expect(seen(picture(white, black), picture([509, 512, 512], [509, 512, 512])).light).toEqual({
      greatest: 10_000,
      average: 5000,
    });
  });

  test('black is said to have 1 cd/m² at most, since 0 says that nobody knows', () => {
    expect(seen(picture(black, black)).light).toEqual({ greatest: 1, average: 1 });
    expect(seen().light).toBeNull();
  });

  test('is rounded up, and stays within 16 bits', () => {
    expect(contentLightOf(999.2, 0.1)).toEqual({ greatest: 1000, average: 1 });
    expect(contentLightOf(1000, 400)).toEqual({ greatest: 1000, average: 400 });
    expect(contentLightOf(1e9, 1e9)).toEqual({ greatest: 65_535, average: 65_535 });
  });

  test('never takes a byte more than the placeholder: H.265, 7.4.2, puts a 3 between two zeros and a byte of at most 3', () => {
    /** With bytes against start codes. */
    const written = (greatest: number, average: number): number => {
      let [zeros, count] = [0, 0];
      for (const byte of [0x90, 4, greatest >> 8, greatest & 255, average >> 8, average & 255, 0x80]) {
        if (zeros >= 2 && byte <= 3) [zeros, count] = [0, count + 1];
        zeros = byte === 0 ? zeros + 1 : 0;
        count += 1;
      }
      return count;
    };
    expect(written(256, 3)).toBe(8);
    const some = fc.oneof(
      fc.integer({ min: 0, max: 70_000 }),
      fc.integer({ min: 0, max: 40 }).map((n) => 256 * n),
    );
    fc.assert(
      fc.property(some, fc.oneof(fc.integer({ min: 0, max: 6 }), some), (pixel, frame) => {
        const { greatest, average } = contentLightOf(pixel, frame);
        expect(written(greatest, average)).toBe(written(PLACEHOLDER.greatest, PLACEHOLDER.average));
        expect(greatest).toBeGreaterThanOrEqual(Math.min(Math.max(pixel, 1), 65_535));
        expect(greatest).toBeLessThanOrEqual(Math.max(pixel, 1) + 1);
      }),
    );
  });
});

test('every placeholder is replaced, also where two parts that are read meet, and no other byte', async () => {
  const message = Buffer.from('00094e019004fdfdfbfb80', 'hex');
  const wanted = Buffer.from('00094e01900403e8019080', 'hex');
  const bytes = Buffer.alloc(9 * 1024 * 1024, 0x5a);
  const places = [0, 1000, 4 * 1024 * 1024 - 5, 8 * 1024 * 1024 - 1, bytes.length - message.length];
  for (const at of places) message.copy(bytes, at);
  // Nearly one.
  bytes.set(message.subarray(0, 10), 5000);
  const path = join(freshFolder('light'), 'one.mp4');
  writeFileSync(path, bytes);
  expect(await writeContentLight(path, { greatest: 1000, average: 400 })).toBe(places.length);
  for (const at of places) wanted.copy(bytes, at);
  expect(readFileSync(path).equals(bytes)).toBe(true);
});
