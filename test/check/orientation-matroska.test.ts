/** How Matroska says that pictures lie: RFC 9559 (yaw of half a turn mirrors; roll turns, against the clock), on files of another program. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { statedShape } from '../../check/orientation.ts';
import { freshFolder } from '../support/folder.ts';

const file = (name: string): string => `test/fixtures/movies/turned-${name}.mkv`;
const orientationOf = async (path: string) => (await statedShape(path, 0)).orientation;

// A coded point x, y is shown at a x + c y, b x + d y, with y counted downwards.
test.each([
  // Against the clock: what was at the right is at the top.
  ['rot90', [0, -1, 1, 0]],
  ['rot180', [-1, 0, 0, -1]],
  ['mirrored', [-1, 0, 0, 1]],
  // Mirrored, and then as the first.
  ['rot90-mirrored', [0, -1, -1, 0]],
])('%s', async (name, expected) => {
  expect(await orientationOf(file(name))).toEqual(expected);
});

// Named by the list of what lies where as well, in front of it.
const TRACKS = Buffer.from('1654ae6b', 'hex');
/** A checksum of the whole element, and padding of the same length (RFC 8794, 11.3). */
const [CHECKSUM, VOID] = [Buffer.from('bf84', 'hex'), 0xec];

/** The number of 64 bits of an element of two bytes and a length of 8, as that program writes it; what it breaks the checksum of has none. */
function withAngle(id: number, degrees: number): string {
  const bytes = readFileSync(file('rot90-mirrored'));
  const at = bytes.indexOf(Buffer.from([id >> 8, id & 0xff, 0x88]));
  bytes.writeDoubleBE(degrees, at + 3);
  bytes[bytes.indexOf(CHECKSUM, bytes.lastIndexOf(TRACKS))] = VOID;
  const path = join(freshFolder('turned'), 'clip.mkv');
  writeFileSync(path, bytes);
  return path;
}

test('aslant, or halfway mirrored, is none of the eight ways', async () => {
  expect(await orientationOf(withAngle(0x7675, 45))).toBe('other');
  expect(await orientationOf(withAngle(0x7673, 90))).toBe('other');
  expect(await orientationOf(withAngle(0x7673, -180))).toEqual([0, -1, -1, 0]);
});

test('tracks whose checksum is not theirs say nothing', async () => {
  const path = withAngle(0x7675, 45);
  const bytes = readFileSync(path);
  bytes[bytes.indexOf(Buffer.from('ec84', 'hex'), bytes.lastIndexOf(TRACKS))] = CHECKSUM[0] as number;
  writeFileSync(path, bytes);
  expect(await orientationOf(path)).toBeNull();
});

test('what is cut off before its tracks says nothing', async () => {
  const path = join(freshFolder('turned'), 'clip.mkv');
  writeFileSync(path, readFileSync(file('rot90')).subarray(0, 120));
  expect(await statedShape(path, 0)).toEqual({ orientation: null, earlierField: null });
});
