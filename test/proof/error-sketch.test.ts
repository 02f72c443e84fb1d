/** Error sketches: the mask, the file, and the error that two of them give. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { createReadStream, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { ValueCollector } from '../../proof/collect.ts';
import { sketchDifferences } from '../../proof/sketch/error.ts';
import { readSketch, sketchFile } from '../../proof/sketch/file.ts';
import {
  type ErrorSketch,
  type SketchForm,
  sketchGrid,
  sketchNumbers,
  sketchPlanes,
} from '../../proof/sketch/form.ts';
import { maskBits, maskedShares, maskPicture, maskSeed } from '../../proof/sketch/mask.ts';
import { maskInput, sketchChains, sketchValues } from '../../proof/sketch/tap.ts';
import { FingerprintError } from '../../proof/source-fingerprints.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';
import '../support/properties.ts';

const form: SketchForm = {
  width: 320,
  height: 180,
  pixelFormat: 'yuv422p',
  grid: sketchGrid({ width: 320, height: 180 }, 'fine'),
};
const seed = maskSeed('00', '11');

describe('the mask', () => {
  test('is the key stream that another program makes of the same key: openssl, aes-128-ctr', () => {
    const key = createHash('sha256').update(seed).digest('hex').slice(0, 32);
    const zeros = Buffer.alloc((320 * 180 * 2) / 8);
    const stream = execFileSync('openssl', ['enc', '-aes-128-ctr', '-K', key, '-iv', '0'.repeat(32)], {
      input: zeros,
    });
    expect(maskBits(seed, form).equals(stream)).toBe(true);
  });

  test.each([
    ['yuv422p', 1, 255],
    ['yuv422p10le', 2, 1023],
    ['yuv444p12le', 2, 4095],
  ])(
    'of %s holds zero and the highest value alone, a half of each, in other places for another seed',
    (pixelFormat, bytes, highest) => {
      const picture = maskPicture(seed, { ...form, pixelFormat });
      const values = Array.from({ length: picture.length / bytes }, (_, index) =>
        bytes === 1 ? picture[index] : picture.readUInt16LE(2 * index),
      );
      expect(new Set(values)).toEqual(new Set([0, highest]));
      const share = values.filter((value) => value === highest).length / values.length;
      expect(Math.abs(share - 0.5)).toBeLessThan(0.01);
      expect(maskPicture(maskSeed('01', '11'), { ...form, pixelFormat }).equals(picture)).toBe(false);
    },
  );

  test('masks about a half of every region', () => {
    const shares = maskedShares(seed, form);
    expect(shares).toHaveLength(
      sketchPlanes(form).reduce((sum, { columns, rows }) => sum + columns * rows, 0),
    );
    for (const share of shares) expect(Math.abs(share - 0.5)).toBeLessThan(0.2);
  });
});

test('no region has fewer samples than sixteen a side, and planes of half the size have half as many', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 8, max: 2048 }),
      fc.integer({ min: 8, max: 2048 }),
      fc.constantFrom('fine' as const, 'coarse' as const),
      fc.constantFrom('yuv420p', 'yuv422p10le', 'yuv444p10le'),
      (halfWidth, halfHeight, regions, pixelFormat) => {
        const size = { width: 2 * halfWidth, height: 2 * halfHeight };
        const grid = sketchGrid(size, regions);
        expect(grid.columns <= 64 && grid.rows <= 36).toBe(true);
        const [luma, cb, cr] = sketchPlanes({ ...size, pixelFormat, grid });
        if (luma === undefined || cb === undefined || cr === undefined) throw new Error('three planes');
        if (size.width >= 32) expect(size.width / luma.columns).toBeGreaterThanOrEqual(16);
        expect(cb.samples).toBeCloseTo(luma.samples, 6);
        expect(cr.from - cb.from).toBe(cb.columns * cb.rows);
      },
    ),
  );
});

describe('the file of a sketch', () => {
  const sketchOf = (frames: number, stated: readonly number[] | null = null): ErrorSketch => ({
    ...form,
    seed,
    frames,
    stated,
    values: Uint16Array.from(
      { length: frames * sketchNumbers(form) },
      (_, at) => ((at * at * 40_503) >> 3) & 0xffff,
    ),
  });

  test.each([0, 1, 5])('of %i frames is read back as it was', async (frames) => {
    const sketch = sketchOf(frames, [40.5, 41, 42.25]);
    const { bytes, digest } = await sketchFile(sketch);
    expect(await readSketch(bytes)).toEqual({ fingerprints: sketch, digest });
  });

  test('that is cut, altered or of another version is refused, whatever was done to it', async () => {
    const { bytes, digest } = await sketchFile(sketchOf(3));
    await expect(readSketch(Buffer.from('rushlight error sketch 1\n'))).rejects.toThrow(FingerprintError);
    await fc.assert(
      fc.asyncProperty(fc.nat(bytes.length - 1), fc.integer({ min: 1, max: 255 }), async (place, by) => {
        const altered = Buffer.from(bytes);
        altered[place] = (altered[place] as number) ^ by;
        const read = await readSketch(altered).catch((error: unknown) => error);
        expect(
          read instanceof FingerprintError ||
            (read as { digest: string }).digest !== digest ||
            altered.equals(bytes) ||
            isDeflateHeader(place),
        ).toBe(true);
        await expect(readSketch(bytes.subarray(0, place))).rejects.toThrow(FingerprintError);
      }),
      { numRuns: 40 },
    );
  });
});
/** A level that the compressor states of itself: it says nothing of the content. */
const isDeflateHeader = (place: number): boolean => place <= 'rushlight error sketch 2\n'.length + 1;

describe('the error of a coded clip', () => {
  /** PSNR by FFmpeg's own filter, which reads both whole. */
  async function measured(pixels: string, coder: readonly string[], container: string) {
    const folder = freshFolder('sketch');
    const [input, output, maskFile, sketched, out, log] = [
      'in.nut',
      `out.${container}`,
      'mask.raw',
      'in.sketch',
      'out.sketch',
      'psnr.log',
    ].map((name) => join(folder, name)) as [string, string, string, string, string, string];
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      `mandelbrot=s=320x180:r=24,noise=alls=6:allf=t,scale=out_range=tv,format=${pixels}`,
      '-frames:v',
      '12',
      '-c:v',
      'rawvideo',
      input,
    );
    await ffmpeg('-i', input, ...coder, output);
    const of = { ...form, pixelFormat: pixels };
    writeFileSync(maskFile, maskPicture(seed, of));
    for (const [file, to] of [
      [input, sketched],
      [output, out],
    ] as const)
      await ffmpeg(
        '-i',
        file,
        ...maskInput(maskFile, of),
        '-filter_complex',
        [`[0:v]null[from]`, ...sketchChains({ from: 'from', to: 'to', maskInput: 1, form: of })].join(';'),
        '-map',
        '[to]',
        '-fps_mode',
        'passthrough',
        '-f',
        'rawvideo',
        to,
      );
    await ffmpeg(
      '-i',
      output,
      '-i',
      input,
      '-filter_complex',
      `[0:v][1:v]psnr=stats_file=${log}`,
      '-f',
      'null',
      '-',
    );
    const values = async (path: string): Promise<Uint16Array> => {
      const collector = new ValueCollector();
      await collector.read(createReadStream(path));
      return sketchValues(collector, of);
    };
    const kept: ErrorSketch = { ...of, seed, frames: 12, stated: null, values: await values(sketched) };
    expect(kept.values).toHaveLength(12 * sketchNumbers(of));
    const coded = await values(out);
    const differences = sketchDifferences(kept, { pixelFormat: pixels, values: coded });
    if (differences === null) throw new Error('other frames');
    const scale = pixels.includes('10') ? 16 : 1;
    const truth = readFileSync(log, 'utf8')
      .trim()
      .split('\n')
      .map((line) =>
        ['y', 'u', 'v'].map((plane) => Number(new RegExp(`mse_${plane}:([\\d.]+)`).exec(line)?.[1]) / scale),
      );
    return { differences, truth };
  }

  test.each<[string, string, readonly string[], string]>([
    ['VC-3 LB', 'yuv422p', ['-c:v', 'dnxhd', '-profile:v', 'dnxhr_lb'], 'mov'],
    ['RDD 36 proxy, 10 bits', 'yuv422p10le', ['-c:v', 'prores_ks', '-profile:v', 'proxy'], 'mov'],
    ['H.264', 'yuv420p', ['-c:v', 'libx264', '-crf', '23'], 'mp4'],
  ])(
    "%s: as FFmpeg's psnr filter measures it, which sees every sample",
    async (_codec, pixels, coder, container) => {
      const { differences, truth } = await measured(pixels, coder, container);
      for (const [plane, { from, columns, rows }] of differences.planes.entries()) {
        const regions = columns * rows;
        const ratios = truth.map((frame, index) => {
          let sum = 0;
          for (let number = from; number < from + regions; number += 1)
            sum += differences.at(index, number) ** 2;
          return sum / regions / (frame[plane] as number);
        });
        const mean = ratios.reduce((sum, ratio) => sum + ratio, 0) / ratios.length;
        // Four standard deviations of one frame, sqrt(2 / regions), however alike the frames are.
        expect(Math.abs(mean - 1), `plane ${plane}`).toBeLessThan(4 * Math.sqrt(2 / regions));
      }
    },
  );
});
