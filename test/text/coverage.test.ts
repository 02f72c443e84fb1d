/** Our own drawing of letters: areas by hand, and whole lines against FreeType, by way of FFmpeg's drawtext. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { burnInFont } from '../../files/installation.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import { coverageOf } from '../../proof/text/coverage.ts';
import { type Contour, FontDamage, readFont } from '../../proof/text/font.ts';
import { drawLine, Glyphs } from '../../proof/text/line.ts';
import { everyRow } from '../support/lane.ts';

const polygon = (...points: readonly (readonly [x: number, y: number])[]): Contour =>
  points.map(([x, y]) => ({ x, y, on: true }));
const sum = (values: Float32Array): number => values.reduce((all, value) => all + value, 0);

describe('areas', () => {
  test('a square between pixels covers each by its part', () => {
    // From 0.25 to 1.5 across, from the base line to 1 above it.
    const square = polygon([0.25, 0], [0.25, 1], [1.5, 1], [1.5, 0]);
    const { left, top, width, height, values } = coverageOf([square], 1, 1);
    expect([left, top, width, height, [...values]]).toEqual([0, -1, 2, 1, [0.75, 0.5]]);
  });

  test('a triangle covers half of its square, along the diagonal by halves', () => {
    const { values } = coverageOf([polygon([0, 0], [0, 4], [4, 4])], 1, 1);
    expect(sum(values)).toBeCloseTo(8, 6);
    expect([values[0], values[3], values[12], values[15]]).toEqual([1, 0.5, 0.5, 0]);
  });

  test('a contour the other way round is a hole, the same way round is not counted twice', () => {
    const outer = polygon([0, 0], [0, 6], [6, 6], [6, 0]);
    const inner = [polygon([2, 2], [2, 4], [4, 4], [4, 2]), polygon([2, 2], [4, 2], [4, 4], [2, 4])];
    expect(inner.map((one) => sum(coverageOf([outer, one], 1, 1).values))).toEqual([36, 32]);
  });

  test('a circle of four curves without a point on them has the area of its parabolas', () => {
    // Control points at the corners of a square of 2: each quarter is bounded by a parabola, 2/3 of its corner's square of 1 beyond the triangle of 1/2.
    const contour = (
      [
        [0, 0],
        [0, 2],
        [2, 2],
        [2, 0],
      ] as const
    ).map(([x, y]) => ({ x, y, on: false }));
    expect(sum(coverageOf([contour], 20, 1).values) / 400).toBeCloseTo(4 - 4 * (1 / 6), 1);
  });
});

/** Accents are parts of composite glyphs; bars and blocks reach to the edges of a line. */
const words = 'AgÅ08;01│xẪ@ßж&W…Ωé~|';

function byFreeType(size: number, place: { width: number; height: number; x: number; y: number }): Buffer {
  const { width, height, x, y } = place;
  const text = `drawtext=fontfile=${burnInFont()}:text='${words}':expansion=none:text_shaping=0:ft_load_flags=no_hinting:fontsize=${size}:fontcolor=white:x=${x}:y=${y}-ascent`;
  return execFileSync(
    process.env.RUSHLIGHT_FFMPEG ?? 'ffmpeg',
    [
      '-hide_banner',
      '-loglevel',
      'error',
      '-f',
      'lavfi',
      '-i',
      `color=black:s=${width}x${height},format=gray`,
      '-vf',
      text,
      '-frames:v',
      '1',
      '-f',
      'rawvideo',
      '-',
    ],
    { maxBuffer: 2 ** 24 },
  );
}

describe('lines as FreeType draws them, each character a whole number of pixels behind the last', () => {
  test.each(everyRow ? [8, 9, 11, 12, 14, 18, 20, 23, 29, 36, 43, 54, 72, 98, 103] : [8, 14, 36, 54])(
    '%i pixels',
    (size) => {
      const font = burnInFace();
      const place = { width: 1600, height: 160, x: 20, y: 120 };
      const drawn = byFreeType(size, place);
      const own = drawLine(words, new Glyphs(font, size), Math.floor((1233 * size) / 2048), place);
      let most = 0;
      let wrong = 0;
      for (const [at, covered] of own.entries()) {
        // FFmpeg draws from 16 to 235.
        const off = Math.abs(((drawn[at] as number) - 16) / 219 - covered);
        most = Math.max(most, off);
        if (off > 0.05) wrong += 1;
      }
      expect(most).toBeLessThan(0.1);
      // Where FreeType cuts a curve into two or three lines; an outline that is wrong is wrong all along.
      expect(wrong / own.filter((covered) => covered > 0).length).toBeLessThan(0.06);
    },
  );
});

describe('what is no font', () => {
  const bytes = readFileSync(burnInFont());
  test.each([
    ['nothing', Buffer.alloc(0)],
    ['text', Buffer.from('a letter from the founder of bells')],
    ['half of one', bytes.subarray(0, bytes.length / 2)],
  ])('%s', (_what, content) => {
    expect(() => {
      const font = readFont(content);
      for (let code = 33; code < 127; code += 1) font.contoursOf(font.glyphOf(code));
    }).toThrow(FontDamage);
  });

  test('numbers of the font are those of its tables', () => {
    const font = burnInFace();
    expect([font.unitsPerEm, font.ascender, font.descender]).toEqual([2048, 1901, -483]);
    expect([font.advanceOf(font.glyphOf(0x41)), font.glyphOf(0x9418)]).toEqual([1233, 0]);
  });
});
