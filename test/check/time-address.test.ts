/** Time addresses of frames, bit by bit, as the checker reads them. */
import { expect, test } from 'vitest';
import { labelOf } from '../../check/master/time-address.ts';

// Bits as ImfTimeCode.h of OpenEXR has them (packing for 60-field television); exrheader prints the same of written
// frames in test/formats/exr/write.test.ts.
test.each([
  ['01:02:03:04', 24, 0x01020304],
  ['01:02:03;04', 30, 0x01020344],
  ['23:59:59;29', 30, 0x23595969],
  ['12:34:56:24', 25, 0x12345624],
  ['00:00:00:01', 50, 0x00008000],
  ['10:20:30:49', 50, 0x1020b024],
  ['10:20:30:48', 50, 0x10203024],
  ['23:59:59;59', 60, 0x2359d969],
  ['01:00:00:47', 48, 0x01008023],
])('%s at base %d', (label, base, word) => {
  expect(labelOf(word, 0, base)).toBe(label);
});

test.each([
  [1 << 6, '01:02:03;04'],
  [1 << 7, '01:02:03:04, the colour frame flag'],
  [1 << 15, '01:02:03:04, the field mark'],
  [1 << 23, '01:02:03:04, binary group flag 0'],
  [1 << 30, '01:02:03:04, binary group flag 1'],
  [0x80000000, '01:02:03:04, binary group flag 2'],
])('bit 0x%s alone changes what is said', (bit, said) => {
  expect(labelOf((0x01020304 | bit) >>> 0, 0, 24)).toBe(said);
});

test('no two words of a second say the same', () => {
  const words = Array.from({ length: 32 }, (_, bit) => (0x01020304 ^ (1 << bit)) >>> 0);
  expect(new Set([0x01020304, ...words].map((word) => labelOf(word, 0, 24))).size).toBe(33);
});

test('user data, digits above 9 and labels that do not exist are reported, not put right', () => {
  expect(labelOf(0x01020304, 0xff, 24)).toBe('01:02:03:04, user data 000000ff');
  expect(labelOf(0x0a000000, 0, 25)).toContain('digits above 9');
  expect(labelOf(0x00010040, 0, 30)).toBe('00:01:00;00');
});
