/**
 * Changes one value of a Matroska file in its place and puts the checksums right again, for tests: so that what is found is the value and not the
 * damage. It shares no code with the checker's reader. Sources: RFC 8794, 4 to 6 and 11.3.1; RFC 9559, 5.1.
 */
import { crc32 } from 'node:zlib';

const masters: readonly number[] = [
  ...[0x1a45dfa3, 0x18538067, 0x114d9b74, 0x4dbb, 0x1549a966, 0x1654ae6b, 0xae, 0xe0, 0xe1, 0x55b0],
  ...[0x1254c367, 0x7373, 0x63c0, 0x67c8, 0x1f43b675, 0x1c53bb6b, 0xbb, 0xb7],
];

interface Found {
  readonly id: number;
  readonly at: number;
  readonly start: number;
  readonly end: number;
}

function* elements(bytes: Buffer, from: number, end: number): Generator<Found> {
  for (let at = from; at < end; ) {
    const wide = Math.clz32(bytes[at] as number) - 23;
    const id = bytes.readUIntBE(at, wide);
    const sizeAt = at + wide;
    const sizeWide = Math.clz32(bytes[sizeAt] as number) - 23;
    let size = (bytes[sizeAt] as number) & (0xff >> sizeWide);
    for (let next = 1; next < sizeWide; next += 1) size = size * 256 + (bytes[sizeAt + next] as number);
    const start = sizeAt + sizeWide;
    yield { id, at, start, end: start + size };
    if (masters.includes(id)) yield* elements(bytes, start, start + size);
    at = start + size;
  }
}

/** The `nth` element with the identifier, from 1 on. Throws for what is not there. */
export function elementOf(bytes: Buffer, id: number, nth = 1): Found {
  let count = 0;
  for (const found of elements(bytes, 0, bytes.length))
    if (found.id === id && (count += 1) === nth) return found;
  throw new Error(`no element ${id.toString(16)}`);
}

/** All checksums as their contents have them; `node:zlib` counts them. */
export function withChecksums(bytes: Buffer): Buffer {
  const all = [...elements(bytes, 0, bytes.length)];
  for (const { id, start, end } of all)
    if (masters.includes(id) && bytes[start] === 0xbf && bytes[start + 1] === 0x84)
      bytes.writeUInt32LE(crc32(bytes.subarray(start + 6, end)), start + 2);
  return bytes;
}

/** The file with a value written over that of an element, at the end of its bytes. */
export function changed(bytes: Buffer, id: number, value: Buffer, nth = 1): Buffer {
  const copy = Buffer.from(bytes);
  const { start, end } = elementOf(copy, id, nth);
  if (value.length > end - start) throw new Error(`the element has ${end - start} bytes`);
  value.copy(copy, end - value.length);
  return withChecksums(copy);
}

/** The file with an element called otherwise: an identifier as long as its own. */
export function renamed(bytes: Buffer, id: number, to: number, nth = 1): Buffer {
  const copy = Buffer.from(bytes);
  const { at } = elementOf(copy, id, nth);
  copy.writeUIntBE(to, at, id > 0xff_ffff ? 4 : id > 0xffff ? 3 : id > 0xff ? 2 : 1);
  return withChecksums(copy);
}
