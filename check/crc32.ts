/** CRC-32 of ISO 3309 (lowest bit first, inverted before and after), as EBML has it: RFC 8794, 11.3.1. */
const table = Uint32Array.from({ length: 256 }, (_, byte) => {
  let rest = byte;
  for (let bit = 0; bit < 8; bit += 1) rest = (rest & 1) === 0 ? rest >>> 1 : (rest >>> 1) ^ 0xedb8_8320;
  return rest >>> 0;
});

/** Slicing by four: four tables, each a byte further on. */
const tables = [0, 1, 2, 3].map((steps) =>
  table.map(
    (entry) =>
      Array.from({ length: steps }).reduce<number>(
        (rest) => (rest >>> 8) ^ (table[rest & 0xff] as number),
        entry,
      ) >>> 0,
  ),
) as [Uint32Array, Uint32Array, Uint32Array, Uint32Array];

export function crc32(bytes: Buffer): number {
  const [last, third, second, first] = tables;
  let rest = 0xffff_ffff;
  let at = 0;
  for (; at + 4 <= bytes.length; at += 4) {
    rest ^= bytes.readInt32LE(at);
    rest =
      (first[rest & 0xff] as number) ^
      (second[(rest >>> 8) & 0xff] as number) ^
      (third[(rest >>> 16) & 0xff] as number) ^
      (last[rest >>> 24] as number);
  }
  for (; at < bytes.length; at += 1)
    rest = (rest >>> 8) ^ (last[(rest ^ (bytes[at] as number)) & 0xff] as number);
  return (rest ^ 0xffff_ffff) >>> 0;
}
