/** Y'CbCr to R'G'B' against zscale (zimg) in float, which unlike swscale has no bias above 8 bits. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { layoutOf } from '../../media/colour/formats.ts';
import { tagForFfmpeg } from '../../media/colour/h273.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { PictureKernel } from '../../media/colour/picture.ts';
import type { SourcePicture } from '../../media/colour/pixel.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { freshFolder } from '../support/folder.ts';
import { outputOf, pixelsOf } from '../support/pictures.ts';

const memory = new KernelMemory();
let kernel: PictureKernel;
beforeAll(async () => {
  kernel = await PictureKernel.load(memory);
});

const [WIDTH, HEIGHT] = [64, 48];

/** Waves with noise, in every code that the range leaves to pictures. */
function frameOf(picture: SourcePicture): Uint8Array {
  const { bytes, bits, samples } = layoutOf(picture.pixelFormat, WIDTH, HEIGHT);
  const frame = new Uint8Array(bytes);
  const view = new DataView(frame.buffer);
  const [least, most] =
    picture.range === 'full' ? [0, 2 ** bits - 1] : [16 * 2 ** (bits - 8), 235 * 2 ** (bits - 8)];
  let state = bits;
  for (const [component, { first, step, line, width, height, coding }] of samples.entries()) {
    for (let y = 0; y < height; y++)
      for (let x = 0; x < width; x++) {
        state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
        const wave =
          0.5 + 0.3 * Math.sin(x / 3 + component) * Math.cos(y / 2.5) + 0.2 * (state / 2 ** 32 - 0.5);
        const code = Math.round(least + wave * (most - least));
        if (coding === 'u8') view.setUint8(first + y * line + x * step, code);
        else view.setUint16(first + y * line + x * step, code, coding === 'u16le');
      }
  }
  return frame;
}

/** zscale's R'G'B' of a frame. It knows nothing of fields within one: their geometry is in siting.test.ts. */
async function zscale(picture: SourcePicture, frame: Uint8Array): Promise<Triple[]> {
  const path = join(freshFolder('zscale'), 'frame.raw');
  writeFileSync(path, frame);
  const tags = `setparams=colorspace=${tagForFfmpeg('matrix', picture.matrix ?? 'rgb')}:range=${picture.range === 'full' ? 'pc' : 'tv'}:color_primaries=bt709:color_trc=bt709`;
  // Bicubic with B = 0 and C = 0.5 is cubic convolution with a = -0.5.
  const siting =
    picture.siting === null ? '' : `:chromalin=${picture.siting}:filter=bicubic:param_a=0:param_b=0.5`;
  return pixelsOf(
    await outputOf('ffmpeg', [
      '-v',
      'error',
      '-f',
      'rawvideo',
      '-pix_fmt',
      picture.pixelFormat,
      '-s',
      `${picture.width}x${picture.height}`,
      '-i',
      path,
      '-vf',
      `${tags},zscale=matrix=gbr:range=full${siting},format=gbrpf32le`,
      '-f',
      'rawvideo',
      '-pix_fmt',
      'gbrpf32le',
      '-',
    ]),
  );
}

function kernelOf(picture: SourcePicture, frame: Uint8Array): Float32Array[] {
  memory.reset();
  kernel.prepare({ width: picture.width, height: picture.height, source: picture, transform: null });
  const { r, g, b, count } = kernel.codeRgb(frame);
  return [r, g, b].map((at) => memory.f32(at, count).slice());
}

interface Difference {
  readonly inside: number;
  /** Four pixels wide: beyond the edge zimg mirrors, and we go on with the outermost sample. */
  readonly edge: number;
}

function compare(ours: readonly Float32Array[], theirs: readonly Triple[]): Difference {
  let [inside, edge] = [0, 0];
  for (const [index, pixel] of theirs.entries()) {
    const [x, y] = [index % WIDTH, Math.floor(index / WIDTH)];
    const difference = Math.max(
      ...pixel.map((value, channel) => Math.abs(value - ((ours[channel] as Float32Array)[index] as number))),
    );
    if (Math.min(x, WIDTH - 1 - x, y, HEIGHT - 1 - y) < 4) edge = Math.max(edge, difference);
    else inside = Math.max(inside, difference);
  }
  return { inside, edge };
}

async function differences(picture: SourcePicture): Promise<Difference> {
  const frame = frameOf(picture);
  return compare(kernelOf(picture, frame), await zscale(picture, frame));
}

const picture = (pixelFormat: string, more: Partial<SourcePicture> = {}): SourcePicture => ({
  width: WIDTH,
  height: HEIGHT,
  pixelFormat,
  matrix: 'bt709',
  range: 'limited',
  siting: null,
  interlaced: false,
  ...more,
});

describe("zscale gives the same R'G'B', to 1e-6 of full scale", () => {
  test.each<[string, Partial<SourcePicture>]>([
    ['yuv444p', {}],
    ['yuv444p10le', {}],
    ['yuv444p10le', { matrix: 'bt2020' }],
    ['yuv444p12le', { matrix: 'bt601' }],
    ['yuv444p16le', {}],
    ['yuv444p10le', { range: 'full' }],
    ['yuv444p', { range: 'full', matrix: 'bt601-625' }],
  ])('%s %o', async (format, more) => {
    const { inside, edge } = await differences(picture(format, more));
    expect(Math.max(inside, edge)).toBeLessThan(1e-6);
  });

  test.each<[string, Partial<SourcePicture>]>([
    ['yuv422p', { siting: 'left' }],
    ['yuv422p10le', { siting: 'left' }],
    ['yuv422p10le', { siting: 'topleft' }],
    ['yuv422p10le', { siting: 'center' }],
    ['yuv420p', { siting: 'left' }],
    ['yuv420p', { siting: 'center', range: 'full' }],
    ['yuv420p10le', { siting: 'left' }],
    ['yuv420p10le', { siting: 'topleft', matrix: 'bt2020' }],
    ['yuv420p10le', { siting: 'top' }],
    ['yuv420p10le', { siting: 'bottomleft' }],
    ['yuv420p10le', { siting: 'bottom' }],
    ['yuv420p12le', { siting: 'center' }],
    ['yuv422p10le', { siting: 'left', interlaced: true }],
  ])('%s %o, but for the edge', async (format, more) => {
    const { inside, edge } = await differences(picture(format, more));
    expect(inside).toBeLessThan(1e-6);
    expect(edge).toBeLessThan(0.2);
  });
});

// The check that another place of chroma would show, so that the agreement above means something.
test('another siting is another picture', async () => {
  const ours = picture('yuv420p10le', { siting: 'left' });
  const frame = frameOf(ours);
  const left = kernelOf(ours, frame)[0] as Float32Array;
  for (const other of [{ siting: 'center' as const }, { siting: 'topleft' as const }, { interlaced: true }]) {
    const right = kernelOf({ ...ours, ...other }, frame)[0] as Float32Array;
    expect(
      Math.max(...left.map((value, index) => Math.abs(value - (right[index] as number)))),
    ).toBeGreaterThan(0.01);
  }
});
