/** The padding behind what FFV1 says of itself in Matroska. */
import { expect, test } from 'vitest';
import { unpadded } from '../../worker/segments/unpadded.ts';

/** CodecPrivate (RFC 9559, 5.1.4.1.22) with a BITMAPINFOHEADER of 40 bytes, whose first field is its own length and that of what follows (Microsoft, wingdi.h: biSize). */
function element(follows: number): Buffer {
  const padded = 40 + follows + (follows % 2);
  const content = Buffer.alloc(padded, 7);
  content.writeUInt32LE(40 + follows, 0);
  if (follows % 2 === 1) content[padded - 1] = 0;
  const size = Buffer.alloc(2);
  size.writeUInt16BE(0x4000 + padded);
  return Buffer.concat([
    Buffer.from('a head', 'latin1'),
    Buffer.from([0x63, 0xa2]),
    size,
    content,
    Buffer.from([0xec, 0x80]),
  ]);
}

test('is taken away, and nothing behind it moves', () => {
  const before = element(191);
  const change = unpadded(before);
  if (change === null) throw new Error('nothing was found');
  const after = Buffer.from(before);
  change.bytes.copy(after, change.at);
  expect(after.length).toBe(before.length);
  // A length of three bytes (RFC 8794, 4.1: 0x20 marks three), and 231 bytes behind it.
  expect(after.subarray(8, 11).toString('hex')).toBe('2000e7');
  expect(after.readUInt32LE(11)).toBe(231);
  expect(after.subarray(11 + 231).toString('hex')).toBe('ec80');
  expect(unpadded(after)).toBe(null);
});

test('is none where there is an even number of bytes, or no such element', () => {
  expect(unpadded(element(192))).toBe(null);
  expect(unpadded(Buffer.alloc(1000, 0x63))).toBe(null);
  expect(unpadded(element(191).subarray(0, 60))).toBe(null);
});
