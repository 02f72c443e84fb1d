/** Reading a piece of a file: a claim is bounded by what the file has. */
import { open, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { FileDamage, readAt } from '../../files/bytes.ts';
import { freshFolder } from '../support/folder.ts';

async function withFile<Value>(
  use: (handle: Awaited<ReturnType<typeof open>>) => Promise<Value>,
): Promise<Value> {
  const path = join(freshFolder(), 'ten.bin');
  await writeFile(path, '0123456789');
  const handle = await open(path, 'r');
  try {
    return await use(handle);
  } finally {
    await handle.close();
  }
}

test.each([
  [2, 3, '234'],
  [8, 100, '89'],
  [8, 2 ** 20, '89'],
  [8, 2 ** 40, '89'],
  [0, Number.MAX_SAFE_INTEGER, '0123456789'],
  [10, 1, ''],
  [2 ** 50, 2 ** 31, ''],
])(
  'at %i, %i bytes of a file of ten are %j, and no more memory than that is set aside',
  async (position, length, expected) => {
    const { bytes, setAside } = await withFile(async (handle) => {
      const before = process.memoryUsage().arrayBuffers;
      const read = await readAt(handle, position, length);
      return { bytes: read, setAside: process.memoryUsage().arrayBuffers - before };
    });
    expect(bytes.toString('latin1')).toBe(expected);
    expect(setAside).toBeLessThan(1024 * 1024);
  },
);

test.each([
  [-1, 1],
  [0, -1],
  [2 ** 60, 1],
  [0.5, 1],
  [0, Number.NaN],
  [Number.POSITIVE_INFINITY, 1],
])('a place of %d and a length of %d are damage, not an error of the program', async (position, length) => {
  await withFile(async (handle) => {
    await expect(readAt(handle, position, length)).rejects.toThrow(FileDamage);
  });
});

test('more than a gibibyte at once is damage, also in a file that has so much', async () => {
  const path = join(freshFolder(), 'hole.bin');
  await writeFile(path, '');
  const handle = await open(path, 'r+');
  try {
    await handle.truncate(3 * 1024 ** 3);
    await expect(readAt(handle, 0, 2 * 1024 ** 3)).rejects.toThrow(FileDamage);
  } finally {
    await handle.close();
  }
});
