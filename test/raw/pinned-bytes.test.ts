/** The bytes of a small frame of a raw master, from codes to file: a change of the arithmetic shows here, whatever it was meant to be. */
import { createHash } from 'node:crypto';
import { expect, test } from 'vitest';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { DevelopKernel } from '../../media/raw/develop/kernel.ts';
import { encoded } from '../formats/exr/encoded.ts';
import { testSamples } from '../support/dng.ts';
import { developPlan, rawPicture } from '../support/raw-picture.ts';

const [WIDTH, HEIGHT] = [48, 32];

/** SHA-256 of each. */
const PINNED = {
  linear: '85680fffe9e614371ad1202f4c9ee2356d54c4695c3a2943ac0019d99e05a080',
  fine: '376636b6d4c44fd66a931193d5acbe41d2538fadc61f6a9df6cbbc0c38d30d62',
  half: '54c907c4b34421dca492bb437abe447c151cfcb930ed6cc7db17b089e5a540ae',
};

test.each(['linear', 'fine', 'half'] as const)(
  '%s: other bytes than before ask for another RECIPE (ledger/toolchain.ts) and are written here',
  async (demosaic) => {
    const memory = new KernelMemory();
    const kernel = await DevelopKernel.load(memory);
    const picture = rawPicture(WIDTH, HEIGHT, { white: 4000 });
    kernel.prepare(developPlan(picture, { demosaic, neutral: [0.45, 1, 0.6], highlights: 'by-channel' }));
    const planes = kernel.toAp0(kernel.camera(testSamples(WIDTH, HEIGHT, 12, 3)));
    const size =
      demosaic === 'half' ? { width: WIDTH / 2, height: HEIGHT / 2 } : { width: WIDTH, height: HEIGHT };
    const plane = (at: number): Float32Array => memory.f32(at, size.width * size.height).slice();
    const { bytes } = await encoded(
      { ...size, compression: 'zip', container: 'exr' },
      { r: plane(planes.r), g: plane(planes.g), b: plane(planes.b) },
    );
    expect(createHash('sha256').update(bytes).digest('hex')).toBe(PINNED[demosaic]);
  },
);
