/** NaN and infinities of a float source are counted by channel, wherever they lie, in either byte order. */
import fc from 'fast-check';
import { beforeAll, expect, test } from 'vitest';
import { layoutOf } from '../../media/colour/formats.ts';
import { PictureKernel } from '../../media/colour/picture.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';

const memory = new KernelMemory();
let kernel: PictureKernel;
beforeAll(async () => {
  kernel = await PictureKernel.load(memory);
});

/** Bits of binary32 (IEEE 754): NaNs quiet and signalling, both signs; infinities; finite values beside them. */
const NANS = [0x7fc00000, 0xffc00000, 0x7f800001, 0xffffffff];
const INFINITIES = [0x7f800000, 0xff800000];
const FINITE = [0, 0x80000000, 0x3f800000, 0x7f7fffff, 0xff7fffff, 1];

test.each([
  ['gbrpf32le', ['G', 'B', 'R'], 4],
  ['gbrpf32be', ['G', 'B', 'R'], 4],
  ['gbrapf32le', ['G', 'B', 'R', 'A'], 4],
  ['grayf32le', ['R'], 4],
] as const)('%s', (pixelFormat, planes, size) => {
  const order = ['R', 'G', 'B'];
  fc.assert(
    fc.property(
      fc.integer({ min: 1, max: 19 }),
      fc.integer({ min: 1, max: 21 }),
      fc.infiniteStream(fc.constantFrom(...NANS, ...INFINITIES, ...FINITE, ...FINITE)),
      (width, height, stream) => {
        memory.reset();
        kernel.prepare({
          width,
          height,
          lines: 16,
          source: {
            width,
            height,
            pixelFormat,
            matrix: null,
            range: 'full',
            siting: null,
            interlaced: false,
          },
          transform: null,
        });
        const frame = Buffer.alloc(layoutOf(pixelFormat, width, height).bytes);
        const nans = [0, 0, 0];
        const infinities = [0, 0, 0];
        for (let at = 0; at < frame.length; at += size) {
          const bits = stream.next().value as number;
          if (pixelFormat.endsWith('be')) frame.writeUInt32BE(bits >>> 0, at);
          else frame.writeUInt32LE(bits >>> 0, at);
          const channel = order.indexOf(planes[Math.floor(at / (width * height * size))] as string);
          if (channel < 0) continue;
          if (NANS.includes(bits)) nans[channel] = (nans[channel] ?? 0) + 1;
          if (INFINITIES.includes(bits)) infinities[channel] = (infinities[channel] ?? 0) + 1;
        }
        kernel.put(frame);
        for (let first = 0; first < height; first += 16) kernel.codeRgb(undefined, first);
        expect(kernel.takeSpecial()).toEqual({ nans, infinities });
        expect(kernel.takeSpecial()).toEqual({ nans: [0, 0, 0], infinities: [0, 0, 0] });
      },
    ),
  );
});
