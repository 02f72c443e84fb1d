/** Files that were cut off or edited: none is read as if it were whole. */
import { readFile } from 'node:fs/promises';
import { resolve } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { ExrDamage, ExrForeign } from '../../../check/master/exr/damage.ts';
import { decodeAll } from '../../../check/master/exr/values.ts';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { type WalkedExr, walkExr } from '../../../check/master/exr/chunks.ts';
import { encoded, grainy, numbers } from '../../formats/exr/encoded.ts';

let none: Buffer;
let zip: Buffer;
let walkedNone: WalkedExr;
let walkedZip: WalkedExr;

beforeAll(async () => {
  [none, zip] = (await Promise.all(
    (['none', 'zip'] as const).map(
      async (compression) =>
        (
          await encoded({ width: 20, height: 40, compression, container: 'exr' }, grainy(20, 40), {
            owner: 'The bell foundry',
          })
        ).bytes,
    ),
  )) as [Buffer, Buffer];
  walkedNone = await walkExr(sourceOfBytes(none));
  walkedZip = await walkExr(sourceOfBytes(zip));
});

const walk = (bytes: Buffer): Promise<unknown> => walkExr(sourceOfBytes(bytes));
function edited(bytes: Buffer, edit: (bytes: Buffer) => void): Buffer {
  const copy = Buffer.from(bytes);
  edit(copy);
  return copy;
}

test('cut off anywhere, a file is damaged', async () => {
  for (const whole of [none, zip]) {
    for (let size = 0; size < whole.length; size++)
      await expect(walk(whole.subarray(0, size))).rejects.toThrow(ExrDamage);
  }
});

test('bytes behind the last chunk are seen', async () => {
  await expect(walk(Buffer.concat([none, Buffer.of(0)]))).rejects.toThrow('1 bytes behind the last chunk');
});

test('no byte of header, table or chunk head can be other without notice, but for what a header says freely', async () => {
  const next = numbers(3);
  const { header, chunks } = walkedNone;
  const heads = chunks.flatMap(({ at }) => Array.from({ length: 8 }, (_, index) => at - 8 + index));
  const table = Array.from({ length: 8 * header.chunkCount }, (_, index) => header.end + index);
  for (const place of [...table, ...heads])
    await expect(
      walk(
        edited(none, (bytes) =>
          bytes.writeUInt8((bytes.readUInt8(place) + 1 + Math.floor(255 * next())) & 0xff, place),
        ),
      ),
    ).rejects.toThrow(ExrDamage);
});

describe('what is wrong is said', () => {
  const table = (index: number): number => walkedNone.header.end + 8 * index;
  const head = (index: number): number => (walkedNone.chunks[index]?.at as number) - 8;
  const cases: [string, (bytes: Buffer) => void, RegExp][] = [
    ['another magic number', (bytes) => bytes.writeUInt8(0, 0), /no OpenEXR magic number/],
    [
      'an entry that was never written',
      (bytes) => bytes.writeBigUInt64LE(0n, table(3)),
      /chunk 3 of 40 was never written/,
    ],
    [
      'an entry behind the end',
      (bytes) => bytes.writeBigUInt64LE(2n ** 40n, table(3)),
      /chunk 3 of 40 lies at byte 1099511627776/,
    ],
    [
      'two entries the same',
      (bytes) => bytes.writeBigUInt64LE(bytes.readBigUInt64LE(table(2)), table(3)),
      /is of line 2, not 3/,
    ],
    [
      'a chunk of another line',
      (bytes) => bytes.writeInt32LE(8, head(7)),
      /chunk 7 of 40 at byte \d+ is of line 8, not 7/,
    ],
    [
      'a chunk too short for its lines',
      (bytes) => bytes.writeInt32LE(119, head(7) + 4),
      /has 119 bytes for 1 lines of 120/,
    ],
    ['a negative size', (bytes) => bytes.writeInt32LE(-1, head(7) + 4), /has -1 bytes/],
    [
      'a last chunk that reaches behind the end',
      (bytes) => bytes.writeBigUInt64LE(BigInt(head(39) + 4), table(39)),
      /is of line|ends at byte/,
    ],
    [
      'a data window of more lines',
      (bytes) => bytes.writeInt32LE(40, (walkedNone.header.attributes.get('dataWindow')?.at as number) + 12),
      /chunk/,
    ],
    [
      'a data window turned over',
      (bytes) => bytes.writeInt32LE(-5, (walkedNone.header.attributes.get('dataWindow')?.at as number) + 12),
      /dataWindow of 20x-4/,
    ],
    [
      'a compression that there is not',
      (bytes) => bytes.writeUInt8(77, walkedNone.header.attributes.get('compression')?.at as number),
      /compression 77/,
    ],
    ['an unknown flag', (bytes) => bytes.writeUInt8(0x40, 6), /version field 0x400002/],
    [
      'an attribute that runs on',
      (bytes) => bytes.writeInt32LE(1 << 30, (walkedNone.header.attributes.get('owner')?.at as number) - 4),
      /does not end inside the file/,
    ],
    [
      'an attribute of negative size',
      (bytes) => bytes.writeInt32LE(-1, (walkedNone.header.attributes.get('owner')?.at as number) - 4),
      /attribute owner of type "string" and -1 bytes/,
    ],
    [
      'a required attribute under another name',
      (bytes) =>
        bytes.write(
          'lineOrdes',
          (walkedNone.header.attributes.get('lineOrder')?.at as number) - 24,
          'latin1',
        ),
      /no attribute lineOrder/,
    ],
  ];
  test.each(cases)('%s', async (_name, edit, words) => {
    const bytes = edited(none, edit);
    expect(bytes.equals(none)).toBe(false);
    await expect(walk(bytes)).rejects.toThrow(words);
    await expect(walk(bytes)).rejects.toThrow(ExrDamage);
  });

  test('a gap between chunks, and chunks over one another', async () => {
    const { header, chunks } = walkedNone;
    const start = header.end + 8 * header.chunkCount;
    const moved = Buffer.concat([none.subarray(0, start), Buffer.alloc(5), none.subarray(start)]);
    chunks.forEach((_, index) => {
      moved.writeBigUInt64LE(none.readBigUInt64LE(header.end + 8 * index) + 5n, header.end + 8 * index);
    });
    await expect(walk(moved)).rejects.toThrow(`5 bytes at ${start} belong to no chunk`);
    const torn = edited(zip, (bytes) =>
      bytes.writeInt32LE(
        bytes.readInt32LE((walkedZip.chunks[0]?.at as number) - 4) + 1,
        (walkedZip.chunks[0]?.at as number) - 4,
      ),
    );
    await expect(walk(torn)).rejects.toThrow('overlaps what ends at');
  });

  test.each([
    ['tiles', 0x200],
    ['deep samples', 0x800],
    ['several parts', 0x1000],
  ])('the flag of %s is another form, not damage', async (_name, flag) => {
    await expect(walk(edited(none, (bytes) => bytes.writeInt32LE(2 | flag, 4)))).rejects.toThrow(ExrForeign);
  });
});

test('a compressed chunk with any one byte changed does not pass for whole', async () => {
  const { at, bytes: size } = walkedZip.chunks[1] as (typeof walkedZip.chunks)[number];
  expect(size).toBeLessThan(20 * 6 * 16);
  for (let place = at; place < at + size; place += 3) {
    const bytes = edited(zip, (copy) => copy.writeUInt8(copy.readUInt8(place) ^ 0x10, place));
    const read = decodeAll(sourceOfBytes(bytes));
    // Two bits of the zlib head say nothing about the data.
    if (place >= at + 2) await expect(read).rejects.toThrow(/the chunk of line 16/);
    else await read.catch((error: unknown) => expect(error).toBeInstanceOf(ExrDamage));
  }
});

test("a damaged file of another project's tests is refused (SOURCES.md)", async () => {
  await expect(
    walk(await readFile(resolve('test/fixtures/damaged/openexr_comp_early_eof_piz.exr'))),
  ).rejects.toThrow(ExrDamage);
});
