/** What plain averages of regions say of faults whose size is known: a gain, a mix, a moved plane, a block, a column. */
import { writeFileSync } from 'node:fs';
import { createReadStream } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { ValueCollector } from '../../proof/collect.ts';
import {
  plainPlanes,
  sketchGrid,
  type SketchForm,
  sketchNumbers,
  type SketchPlane,
} from '../../proof/sketch/form.ts';
import { maskPicture, maskSeed } from '../../proof/sketch/mask.ts';
import { mostLost } from '../../proof/sketch/most-lost.ts';
import { plainStatistics, type PlainStatistics } from '../../proof/sketch/plain.ts';
import { plainFaults } from '../../proof/sketch/plain-faults.ts';
import { maskInput, sketchChains, sketchValues } from '../../proof/sketch/tap.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';
import { runForOutput } from '../../process/run.ts';

const size = { width: 320, height: 192 };
const form: SketchForm = { ...size, pixelFormat: 'yuv422p', grid: sketchGrid(size, 'coarse') };
/** A pan over a fractal: every region changes. */
const picture =
  'mandelbrot=s=640x192:r=24:start_scale=1,trim=end_frame=1,loop=loop=-1:size=1:start=0,setpts=N/24/TB,crop=w=320:h=192:x=3*n:y=0,scale=out_range=tv,format=yuv422p';

async function valuesOf(filters: string): Promise<Uint16Array> {
  const folder = freshFolder('plain');
  const [mask, out] = [join(folder, 'mask.raw'), join(folder, 'sketch.raw')];
  writeFileSync(mask, maskPicture(maskSeed('00', '11'), form));
  const graph = [`[0:v]${filters}[from]`, ...sketchChains({ from: 'from', to: 'to', maskInput: 1, form })];
  await ffmpeg(
    ...['-f', 'lavfi', '-i', picture, ...maskInput(mask, form), '-filter_complex', graph.join(';')],
    ...['-map', '[to]', '-frames:v', '6', '-fps_mode', 'passthrough', '-f', 'rawvideo', out],
  );
  const collector = new ValueCollector();
  await collector.read(createReadStream(out));
  return sketchValues(collector, form);
}

async function luma(filters: string): Promise<PlainStatistics> {
  const [input, output] = [await valuesOf('null'), await valuesOf(filters)];
  const [own] = plainStatistics({ form, lossOf: () => 0, peak: 255, input, output });
  if (own === undefined) throw new Error('no plane');
  return own;
}

test('they are the averages of the picture itself, in code values of 256', async () => {
  const values = await valuesOf('null');
  const { stdout } = await runForOutput('ffmpeg', [
    ...['-v', 'error', '-f', 'lavfi', '-i', picture, '-frames:v', '1'],
    ...['-map', '0:v', '-f', 'rawvideo', '-'],
  ]);
  for (const [plane, { from, columns, rows }] of plainPlanes(form).entries()) {
    const width = plane === 0 ? 320 : 160;
    const first = plane === 0 ? 0 : 320 * 192 + (plane - 1) * 160 * 192;
    for (const region of [0, 1, columns, columns * rows - 1]) {
      let sum = 0;
      for (let y = 0; y < 192 / rows; y += 1)
        for (let x = 0; x < width / columns; x += 1)
          sum +=
            stdout[
              first +
                (Math.floor(region / columns) * (192 / rows) + y) * width +
                (region % columns) * (width / columns) +
                x
            ] ?? Number.NaN;
      const mean = sum / ((192 / rows) * (width / columns));
      expect(Math.abs((values[from + region] as number) / 256 - mean)).toBeLessThan(0.02);
    }
  }
});

describe('a fault is found with its size', () => {
  test('contrast times 0.9', async () => {
    const { all, frames } = await luma("lutyuv=y='(val-16)*0.9+16'");
    // Codes are cut to whole numbers.
    expect(all.parts.gain.slope).toBeCloseTo(-0.1, 2);
    expect(frames[3]?.parts.gain.slope).toBeCloseTo(-0.1, 2);
  });

  test('a quarter of the frame before', async () => {
    const { all } = await luma(
      'split[own][late];[late]tpad=start=1:start_mode=clone[before];[own][before]blend=shortest=1:all_mode=normal:all_opacity=0.75',
    );
    expect(all.parts.before.slope).toBeCloseTo(0.25, 1);
    expect(all.parts.before.slope).toBeGreaterThan(all.parts.behind.slope);
  });

  test('two samples to the right', async () => {
    const { all } = await luma('crop=w=318:h=192:x=0:y=0,pad=w=320:h=192:x=2:y=0');
    expect(all.parts.across.slope).toBeGreaterThan(1);
    expect(all.parts.across.slope).toBeLessThan(3);
  });

  test('a block of 16 x 16 lies where it was put, and nowhere before', async () => {
    const { all, frames } = await luma("drawbox=x=160:y=96:w=16:h=16:color=white:t=fill:enable='eq(n,4)'");
    expect(frames[4]?.region.region).toBe(6 * 20 + 10);
    expect(frames[4]?.region.off).toBeGreaterThan(20);
    expect(frames[3]?.region.off).toBe(0);
    expect(all.region.region).toBe(6 * 20 + 10);
  });

  test('a dead column moves every region of its column', async () => {
    const { all } = await luma('drawbox=x=161:y=0:w=1:h=ih:color=black:t=fill');
    expect(all.column.region).toBe(10);
    expect(all.column.off).toBeLessThan(-1);
  });
});

/** A quarter of the picture is a ramp of `slope` code values of 8 bits a line, the rest is flat. VC-3 rounded every region of such a ramp up by the same 0.125. */
test.each([
  ['whose blocks were rounded alike is where it was', 0.25, 0.125, []],
  ['of four times the contrast that lies half a line higher is found', 1, 0.5, ['drift']],
])('a soft ramp %s', (_what, slope, off, kinds) => {
  const frames = 8;
  const numbers = sketchNumbers(form);
  const [luma] = plainPlanes(form);
  if (luma === undefined) throw new Error('no plane');
  const { columns, rows, from } = luma;
  const values = (added: number): Uint16Array => {
    const out = new Uint16Array(frames * numbers).fill(128 * 256);
    for (let frame = 0; frame < frames; frame += 1)
      for (let region = 0; region < columns * rows; region += 1)
        if (region % columns >= (3 * columns) / 4) {
          const line = ((Math.floor(region / columns) + 0.5) * size.height) / rows;
          out[frame * numbers + from + region] = Math.round(256 * (20 + slope * line + added));
        }
    return out;
  };
  const [own] = plainStatistics({
    form,
    lossOf: () => 0.3,
    peak: 255,
    input: values(0),
    output: values(off),
  });
  const limits = mostLost('DNXHR LB')?.plain;
  if (own === undefined || limits === undefined) throw new Error('nothing was measured');
  expect(own.all.parts.down.slope).toBeCloseTo(-0.5, 1);
  const loss = new Float64Array(frames).fill(0.3);
  expect(plainFaults("Y'", own, { loss, greatest: null }, limits).map(({ kind }) => kind)).toEqual(kinds);
});

const FRAMES = 8;

/** What is said of Cb of a grey picture of eight frames in which numbers were changed. */
function faultsOfCb(
  codec: string,
  { loss, scale }: { readonly loss: number; readonly scale: number | null },
  change: (values: Uint16Array, cb: SketchPlane, numbers: number) => void,
): string[] {
  const numbers = sketchNumbers(form);
  const cb = plainPlanes(form)[1];
  if (cb === undefined) throw new Error('no plane');
  const input = new Uint16Array(FRAMES * numbers).fill(128 * 256);
  const output = Uint16Array.from(input);
  change(output, cb, numbers);
  const own = plainStatistics({ form, lossOf: () => loss, peak: 255, input, output })[1];
  const limits = mostLost(codec)?.plain;
  if (own === undefined || limits === undefined) throw new Error('nothing was measured');
  const coded = {
    loss: new Float64Array(FRAMES).fill(loss),
    greatest: scale === null ? null : Array<number>(FRAMES).fill(scale ** 2),
  };
  return plainFaults('Cb', own, coded, limits).map(({ kind }) => kind);
}
const codeOf = (off: number): number => Math.round(256 * (128 + off));

/** Of a soft picture that is nearly grey VC-3 rounded a whole row of Cb down by 0.38. */
test.each([
  ['rounded alike is where it was', -0.4, []],
  ['twice as far off is found', -0.8, ['region']],
])('a row of regions %s', (_what, off, kinds) => {
  const found = faultsOfCb('DNXHR LB', { loss: 0.6, scale: null }, (values, { from, columns }, numbers) => {
    for (let frame = 0; frame < FRAMES; frame += 1)
      values.fill(codeOf(off), frame * numbers + from, frame * numbers + from + columns);
  });
  expect(found).toEqual(kinds);
});

/**
 * A moving number in the corner of a flat chart, in RDD 36 proxy: a slice of scale 106 in a frame that lost 1.1 as a whole, and one region of Cb was off by 2.25
 * (measured; FFmpeg 5.1, 1920 x 1080; single blocks by up to 3.34, where a step is 3.31).
 */
test.each([
  ['coarsely quantised is as its blocks may be', 106, 2.25, []],
  ['farther off than a step of its blocks is found', 106, 3.6, ['region']],
  ['as far off where all is quantised finely is found', 8, 2.25, ['region']],
])('a region that is %s', (_what, scale, off, kinds) => {
  const found = faultsOfCb('Proxy', { loss: 0.93, scale }, (values, { from }, numbers) => {
    values[5 * numbers + from] = codeOf(off);
  });
  expect(found).toEqual(kinds);
});
