/** Averages taken in memory are those that a tap takes inside ffmpeg of the same samples. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { areaAverages } from '../../proof/area.ts';
import { COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from '../../proof/form.ts';
import { pictureTap, rawPictures } from '../../proof/tap.ts';

const luma = { columns: GRID_WIDTH, rows: GRID_HEIGHT };
const colour = { columns: COLOUR_WIDTH, rows: COLOUR_HEIGHT };

describe('by hand', () => {
  test('a cell of two whole samples, and one that shares a sample', () => {
    expect([
      ...areaAverages(Uint16Array.of(100, 200, 300, 400), { width: 4, height: 1 }, 10, {
        columns: 2,
        rows: 1,
      }),
    ]).toEqual([150 * 64, 350 * 64]);
    // (100 + 200 / 2) / 1.5 and (200 / 2 + 300) / 1.5
    expect([
      ...areaAverages(Uint16Array.of(100, 200, 300), { width: 3, height: 1 }, 16, { columns: 2, rows: 1 }),
    ]).toEqual([133, 267]);
    expect([
      ...areaAverages(Uint16Array.of(100, 200, 300), { width: 1, height: 3 }, 16, { columns: 1, rows: 2 }),
    ]).toEqual([133, 267]);
  });

  test('more cells than samples: each cell is the sample that it lies in', () => {
    expect([
      ...areaAverages(Uint16Array.of(10, 20), { width: 2, height: 1 }, 16, { columns: 4, rows: 2 }),
    ]).toEqual([10, 10, 20, 20, 10, 10, 20, 20]);
    expect([
      ...areaAverages(Uint16Array.of(10, 20), { width: 1, height: 2 }, 16, { columns: 1, rows: 3 }),
    ]).toEqual([10, 15, 20]);
  });

  test('the greatest code of 10 bits does not run over; a plane of another size is refused', () => {
    expect(
      new Set(areaAverages(new Uint16Array(99 * 77).fill(1023), { width: 99, height: 77 }, 10, luma)),
    ).toEqual(new Set([1023 * 64]));
    expect(() => areaAverages(new Uint16Array(5), { width: 2, height: 2 }, 10, luma)).toThrow(RangeError);
  });
});

/** What the tap gives of one frame of yuv444p10le. */
function tapped(
  planes: readonly Uint16Array[],
  width: number,
  height: number,
): { luma: Uint16Array; colour: Uint16Array } {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-area-'));
  try {
    writeFileSync(
      join(folder, 'frame.yuv'),
      Buffer.concat(planes.map((plane) => Buffer.from(plane.buffer, plane.byteOffset, plane.byteLength))),
    );
    const tap = pictureTap('shown', {
      pixelFormat: 'yuv444p10le',
      size: { width, height },
      earlierField: null,
      framing: null,
    });
    const outputs = (['luma', 'colour'] as const).flatMap((pad) => [...rawPictures(pad), join(folder, pad)]);
    execFileSync('ffmpeg', [
      '-v',
      'error',
      '-noauto_conversion_filters',
      '-f',
      'rawvideo',
      '-pix_fmt',
      'yuv444p10le',
      '-s',
      `${width}x${height}`,
      '-i',
      join(folder, 'frame.yuv'),
      '-filter_complex',
      ['[0:0]null[shown]', ...tap.chains].join(';'),
      ...outputs,
    ]);
    const values = (name: string): Uint16Array => {
      const bytes = readFileSync(join(folder, name));
      return new Uint16Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
    };
    return { luma: values('luma'), colour: values('colour') };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** A gradient under noise: codes from 64 to 940 of every kind. */
function picture(width: number, height: number, seed: number): Uint16Array {
  let state = seed >>> 0;
  return Uint16Array.from({ length: width * height }, (_, index) => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return (
      64 +
      Math.floor((700 * ((index % width) + Math.floor(index / width))) / (width + height)) +
      (state >>> 25)
    );
  });
}

const worst = (one: ArrayLike<number>, other: ArrayLike<number>): number =>
  Math.max(...Array.from(one, (value, index) => Math.abs(value - (other[index] as number))));

// Of 65536; measured on FFmpeg 5.1: equal where a cell is made of whole samples, else one off, since the scaler's weights have 14 bits.
test.each([
  [64, 48],
  [99, 77],
  [256, 144],
  [448, 256],
  [2000, 1100],
])('against the tap at %ix%i', (width, height) => {
  const planes = [picture(width, height, 1), picture(width, height, 2), picture(width, height, 3)];
  const [y, cb, cr] = planes as [Uint16Array, Uint16Array, Uint16Array];
  const tap = tapped(planes, width, height);
  const size = { width, height };
  const ours = areaAverages(y, size, 10, luma);
  expect(tap.luma).toHaveLength(ours.length);
  expect(worst(ours, tap.luma)).toBeLessThanOrEqual(1);
  expect(tap.colour).toHaveLength(2 * colour.columns * colour.rows);
  expect(
    worst([...areaAverages(cb, size, 10, colour), ...areaAverages(cr, size, 10, colour)], tap.colour),
  ).toBeLessThanOrEqual(1);
});
