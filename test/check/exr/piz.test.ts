/** The checker's reader of PIZ: what OpenEXR's library writes it reads, and no bit of a chunk is without a meaning. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { FileDamage } from '../../../files/bytes.ts';
import { walkExr } from '../../../check/master/exr/chunks.ts';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { decodeHalves } from '../../../check/master/exr/values.ts';
import { encoded, grainy, type Picture } from '../../formats/exr/encoded.ts';
import { freshFolder } from '../../support/folder.ts';
import { outputOf } from '../../support/pictures.ts';

const read = (bytes: Buffer): Promise<Map<string, Uint16Array>> => decodeHalves(sourceOfBytes(bytes));

/** Every finite half once: more than 2^14 values, for which the wavelet is another one. */
function everyHalf(width: number, height: number): Picture {
  const view = new DataView(new ArrayBuffer(2));
  const value = (at: number): number => {
    const bits = ((at * 7919) % 0x7c00) | ((at & 1) << 15);
    view.setUint16(0, bits);
    const exponent = (bits >> 10) & 31;
    const size = exponent === 0 ? (bits & 1023) * 2 ** -24 : (1024 + (bits & 1023)) * 2 ** (exponent - 25);
    return bits & 0x8000 ? -size : size;
  };
  const plane = (from: number): Float32Array =>
    Float32Array.from({ length: width * height }, (_, at) => value(at + from));
  return { r: plane(0), g: plane(20_000), b: plane(40_000) };
}

test.each([
  ['few values', 40, 50, grainy],
  [
    'one value',
    70,
    33,
    (width: number, height: number) => {
      const plane = new Float32Array(width * height).fill(0.18);
      return { r: plane, g: plane, b: plane };
    },
  ],
  ['every value', 512, 70, everyHalf],
])(
  '%s: read alike from our writer and from that of OpenEXR, and its reader reads ours',
  async (_, width, height, make) => {
    const folder = freshFolder();
    const picture = make(width, height);
    const form = { width, height, container: 'exr' } as const;
    const plain = (await encoded({ ...form, compression: 'none' }, picture)).bytes;
    const ours = (await encoded({ ...form, compression: 'piz' }, picture)).bytes;
    writeFileSync(join(folder, 'plain.exr'), plain);
    writeFileSync(join(folder, 'ours.exr'), ours);
    await outputOf('oiiotool', [
      join(folder, 'plain.exr'),
      '--compression',
      'piz',
      '-o',
      join(folder, 'theirs.exr'),
    ]);
    const wanted = await read(plain);
    expect(await read(ours)).toEqual(wanted);
    expect(await read(readFileSync(join(folder, 'theirs.exr')))).toEqual(wanted);
    expect(
      String(
        await outputOf('oiiotool', [
          join(folder, 'plain.exr'),
          join(folder, 'ours.exr'),
          '--fail',
          '0',
          '--hardfail',
          '0',
          '--diff',
        ]),
      ),
    ).toContain('PASS');
  },
);

test('a chunk of which a bit is changed has other values or is damaged', async () => {
  const { r, g, b } = grainy(24, 40);
  const coarse = (plane: Float32Array): Float32Array => plane.map((value) => Math.round(4 * value) / 4);
  const { bytes } = await encoded(
    { width: 24, height: 40, compression: 'piz', container: 'exr' },
    { r: coarse(r), g: coarse(g), b: coarse(b) },
  );
  const good = await read(bytes);
  const { chunks } = await walkExr(sourceOfBytes(bytes));
  const [chunk] = chunks;
  if (chunk === undefined) throw new Error('no chunk');
  // Smaller than its values, so that it is packed.
  expect(chunk.bytes).toBeLessThan(6 * 24 * 32);
  const same: number[] = [];
  let tried = 0;
  // All of the heads, and of the codes as many as a test has time for.
  for (let at = chunk.at; at < chunk.at + chunk.bytes; at += at < chunk.at + 120 ? 1 : 7) {
    tried += 1;
    const spoiled = Buffer.from(bytes);
    spoiled[at] = (spoiled[at] as number) ^ (1 << (at % 8));
    try {
      const found = await read(spoiled);
      if (
        ['R', 'G', 'B'].every((name) =>
          Buffer.from((found.get(name) as Uint16Array).buffer).equals(
            Buffer.from((good.get(name) as Uint16Array).buffer),
          ),
        )
      )
        same.push(at - chunk.at);
    } catch (error) {
      if (!(error instanceof FileDamage)) throw error;
    }
  }
  // A value that goes on may be written as a run or code by code, so that a changed bit can, rarely, write the same values in the other way.
  expect(same.filter((at) => at < 120)).toEqual([]);
  expect(same.length / tried).toBeLessThan(0.005);
});
