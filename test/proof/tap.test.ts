/** The tap's tiny pictures against averages calculated here from the decoded planes. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { runForOutput } from '../../process/run.ts';
import { isComparable } from '../../proof/compare.ts';
import {
  CELLS,
  COLOUR_CELLS,
  COLOUR_HEIGHT,
  COLOUR_WIDTH,
  GRID_HEIGHT,
  GRID_WIDTH,
} from '../../proof/form.ts';
import { cellsSeen } from '../../proof/framing.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { ffmpeg } from '../support/media.ts';
import { fingerprintsOf, wholeFraming } from './support.ts';

const WIDTH = 448;
const HEIGHT = 256;

/** Raw frames of a file in a planar format of 8 bits or little-endian 16. */
async function raw(path: string, format: string): Promise<Buffer> {
  return (
    await runForOutput('ffmpeg', ['-v', 'error', '-i', path, '-f', 'rawvideo', '-pix_fmt', format, '-'])
  ).stdout;
}

/** Mean of a rectangle of a plane, values at 16 bits. */
function mean(
  at: (x: number, y: number) => number,
  left: number,
  top: number,
  width: number,
  height: number,
): number {
  let sum = 0;
  for (let y = top; y < top + height; y += 1) for (let x = left; x < left + width; x += 1) sum += at(x, y);
  return sum / (width * height);
}

describe('values', () => {
  test.each([
    ['yuv420p', 1, 8],
    ['yuv422p', 1, 8],
    ['yuv422p10le', 2, 10],
    ['yuv444p12le', 2, 12],
  ] as const)(
    'of %s luma and chroma are area averages of the planes, to 6 of 65536',
    async (format, bytes, bits) => {
      const path = join(freshFolder('tap'), 'clip.nut');
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        `testsrc2=s=${WIDTH}x${HEIGHT}:r=25`,
        '-frames:v',
        '3',
        '-vf',
        `format=${format},noise=alls=12:allf=t`,
        '-c:v',
        'rawvideo',
        path,
      );
      const fingerprints = await fingerprintsOf(['-i', path], {
        pixelFormat: format,
        size: { width: WIDTH, height: HEIGHT },
        earlierField: null,
        framing: null,
      });
      expect(fingerprints.frames).toBe(3);
      const data = await raw(path, format);
      const value = (at: number): number =>
        (bytes === 1 ? (data[at] as number) : data.readUInt16LE(at * 2)) << (16 - bits);
      const chromaWidth = format.includes('444') ? WIDTH : WIDTH / 2;
      const chromaHeight = format.includes('420') ? HEIGHT / 2 : HEIGHT;
      const frameValues = WIDTH * HEIGHT + 2 * chromaWidth * chromaHeight;
      let worst = 0;
      for (let frame = 0; frame < 3; frame += 1) {
        for (let cell = 0; cell < CELLS; cell += 1) {
          const wanted = mean(
            (x, y) => value(frame * frameValues + y * WIDTH + x),
            ((cell % GRID_WIDTH) * WIDTH) / GRID_WIDTH,
            (Math.floor(cell / GRID_WIDTH) * HEIGHT) / GRID_HEIGHT,
            WIDTH / GRID_WIDTH,
            HEIGHT / GRID_HEIGHT,
          );
          worst = Math.max(worst, Math.abs(wanted - (fingerprints.luma[frame * CELLS + cell] as number)));
        }
      }
      expect(worst).toBeLessThan(6);
      expect(fingerprints.colour).toHaveLength(3 * 2 * COLOUR_CELLS);
      for (const [frame, plane] of [0, 1, 2].flatMap((frame) => [[frame, 0] as const, [frame, 1] as const])) {
        for (let cell = 0; cell < COLOUR_CELLS; cell += 1) {
          const from = frame * frameValues + WIDTH * HEIGHT + plane * chromaWidth * chromaHeight;
          const wanted = mean(
            (x, y) => value(from + y * chromaWidth + x),
            ((cell % COLOUR_WIDTH) * chromaWidth) / COLOUR_WIDTH,
            (Math.floor(cell / COLOUR_WIDTH) * chromaHeight) / COLOUR_HEIGHT,
            chromaWidth / COLOUR_WIDTH,
            chromaHeight / COLOUR_HEIGHT,
          );
          expect(
            Math.abs(wanted - (fingerprints.colour?.[(2 * frame + plane) * COLOUR_CELLS + cell] as number)),
          ).toBeLessThan(6);
        }
      }
    },
  );

  // ITU-T H.273, clause 8.3 and Table 4: BT.709 from RGB of full range to limited.
  test.each(['gbrp', 'rgb24', 'gbrp10le', 'rgb48le'])(
    'of %s luma is that of BT.709, limited, to one step of 8 bits',
    async (format) => {
      const path = join(freshFolder('tap'), 'clip.nut');
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        `testsrc2=s=${WIDTH}x${HEIGHT}:r=25`,
        '-frames:v',
        '1',
        '-vf',
        `format=${format}`,
        '-c:v',
        'rawvideo',
        path,
      );
      const fingerprints = await fingerprintsOf(['-i', path], {
        pixelFormat: format,
        size: { width: WIDTH, height: HEIGHT },
        earlierField: null,
        framing: null,
      });
      const data = await raw(path, 'rgb48le');
      const luma = (x: number, y: number): number => {
        const [r, g, b] = [0, 1, 2].map(
          (component) => data.readUInt16LE(2 * (3 * (y * WIDTH + x) + component)) / 65535,
        ) as [number, number, number];
        return (16 + 219 * (0.2126 * r + 0.7152 * g + 0.0722 * b)) * 256;
      };
      for (let cell = 0; cell < CELLS; cell += 5) {
        const wanted = mean(
          luma,
          ((cell % GRID_WIDTH) * WIDTH) / GRID_WIDTH,
          (Math.floor(cell / GRID_WIDTH) * HEIGHT) / GRID_HEIGHT,
          WIDTH / GRID_WIDTH,
          HEIGHT / GRID_HEIGHT,
        );
        expect(Math.abs(wanted - (fingerprints.luma[cell] as number))).toBeLessThan(256);
      }
    },
  );

  test('of an interlaced picture both fields are seen, the earlier one first', async () => {
    const path = join(freshFolder('tap'), 'clip.nut');
    // Even lines dark, odd lines light.
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      `color=black:s=${WIDTH}x${HEIGHT}:r=25`,
      '-frames:v',
      '1',
      '-vf',
      "format=yuv422p,geq=lum='if(mod(Y,2),200,40)':cb=128:cr=128",
      '-c:v',
      'rawvideo',
      path,
    );
    const top = await fingerprintsOf(['-i', path], {
      pixelFormat: 'yuv422p',
      size: { width: WIDTH, height: HEIGHT },
      earlierField: 'top',
      framing: null,
    });
    const bottom = await fingerprintsOf(['-i', path], {
      pixelFormat: 'yuv422p',
      size: { width: WIDTH, height: HEIGHT },
      earlierField: 'bottom',
      framing: null,
    });
    expect([top.frames, top.views]).toEqual([1, 2]);
    expect([top.luma[0], top.luma[CELLS]]).toEqual([40 * 256, 200 * 256]);
    expect([bottom.luma[0], bottom.luma[CELLS]]).toEqual([200 * 256, 40 * 256]);
  });

  // Averages of whole planes by ffmpeg's signalstats, which scales nothing.
  test.each<readonly [size: string, format: string, steps: number]>([
    ['1920x1440', 'yuv422p', 1],
    ['4096x2160', 'yuv444p10le', 4],
    ...further<readonly [size: string, format: string, steps: number]>(['8192x4320', 'yuv422p10le', 4]),
  ])(
    'of %s in %s the averages of all cells are those of the planes, to a twentieth of a step',
    async (size, format, steps) => {
      const path = join(freshFolder('tap'), 'clip.nut');
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        'mandelbrot=s=640x360',
        '-frames:v',
        '1',
        '-vf',
        `scale=${size.replace('x', ':')},format=${format}`,
        '-c:v',
        'rawvideo',
        path,
      );
      const [width, height] = size.split('x').map(Number) as [number, number];
      const stats = (
        await runForOutput('ffmpeg', [
          '-v',
          'error',
          '-i',
          path,
          '-vf',
          'signalstats,metadata=print:file=-',
          '-f',
          'null',
          '-',
        ])
      ).stdout.toString();
      const average = (plane: string): number =>
        Number(new RegExp(`${plane}AVG=([0-9.]+)`).exec(stats)?.[1]) / steps;
      for (const framing of [null, wholeFraming(width, height)]) {
        const fingerprints = await fingerprintsOf(['-i', path], {
          pixelFormat: format,
          size: { width, height },
          earlierField: null,
          framing,
        });
        const colour = fingerprints.colour as Uint16Array;
        const of = (values: Uint16Array): number =>
          values.reduce((sum, value) => sum + value, 0) / values.length / 256;
        expect(of(fingerprints.luma)).toBeCloseTo(average('Y'), 1);
        expect(of(colour.subarray(0, COLOUR_CELLS))).toBeCloseTo(average('U'), 1);
        expect(of(colour.subarray(COLOUR_CELLS))).toBeCloseTo(average('V'), 1);
      }
    },
  );

  test('of grey pictures there is no colour', async () => {
    const path = join(freshFolder('tap'), 'clip.nut');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      `testsrc2=s=${WIDTH}x${HEIGHT}:r=25`,
      '-frames:v',
      '2',
      '-vf',
      'format=gray10le',
      '-c:v',
      'rawvideo',
      path,
    );
    const fingerprints = await fingerprintsOf(['-i', path], {
      pixelFormat: 'gray10le',
      size: { width: WIDTH, height: HEIGHT },
      earlierField: null,
      framing: null,
    });
    expect([fingerprints.frames, fingerprints.colour]).toEqual([2, null]);
  });
});

test('a picture that was cut out of the middle gives the cells of the whole one where they are whole', async () => {
  const folder = freshFolder('tap');
  const whole = join(folder, 'whole.nut');
  const cut = join(folder, 'cut.nut');
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    `testsrc2=s=${WIDTH}x${HEIGHT}:r=25`,
    '-frames:v',
    '1',
    '-vf',
    'format=yuv420p',
    '-c:v',
    'rawvideo',
    whole,
  );
  await ffmpeg('-i', whole, '-vf', 'crop=w=320:h=200:x=64:y=28:exact=1', '-c:v', 'rawvideo', cut);
  const framing = {
    scaled: { width: WIDTH, height: HEIGHT },
    window: { left: 64, top: 28, width: 320, height: 200 },
    covered: [],
    inset: null,
  };
  const ours = await fingerprintsOf(['-i', whole], {
    pixelFormat: 'yuv420p',
    size: { width: WIDTH, height: HEIGHT },
    earlierField: null,
    framing: null,
  });
  const theirs = await fingerprintsOf(['-i', cut], {
    pixelFormat: 'yuv420p',
    size: { width: WIDTH, height: HEIGHT },
    earlierField: null,
    framing,
  });
  const seen = cellsSeen(framing);
  // 320 of 448 columns are 20 cells of 16 pixels; lines 28 to 228 hold cells 2 to 13 whole.
  expect(seen.reduce((sum, cell) => sum + cell, 0)).toBe(20 * 12);
  for (const [cell, value] of seen.entries())
    if (value === 1)
      expect(Math.abs((ours.luma[cell] as number) - (theirs.luma[cell] as number))).toBeLessThan(6);
});

test('a profile that covers or cuts nearly everything leaves nothing to compare by', () => {
  const whole = {
    scaled: { width: 1920, height: 1080 },
    window: { left: 0, top: 0, width: 1920, height: 1080 },
  };
  expect(isComparable({ ...whole, covered: [], inset: null })).toBe(true);
  expect(
    isComparable({
      ...whole,
      inset: null,
      covered: [
        { left: 0, top: 0, width: 1920, height: 432 },
        { left: 0, top: 648, width: 1920, height: 432 },
      ],
    }),
  ).toBe(true);
  expect(
    isComparable({ ...whole, covered: [{ left: 0, top: 60, width: 1920, height: 1020 }], inset: null }),
  ).toBe(false);
  expect(
    isComparable({
      scaled: { width: 1920, height: 1080 },
      window: { left: 900, top: 500, width: 60, height: 60 },
      covered: [],
      inset: null,
    }),
  ).toBe(false);
});
