/**
 * Matroska stores what FFV1 says of itself behind a BITMAPINFOHEADER, and ffmpeg pads that to an even length (RFC 9559 has no such rule; the header's own first field has
 * the true one). Read back the padding is taken for a part of it, and a joined file would say it a byte longer than one that is made whole. So of a segment, which nobody but the
 * join reads, the element is made a byte shorter, and its length is written with a byte more: nothing behind it moves.
 */
import { open } from 'node:fs/promises';
import { fsPath } from '../../files/names.ts';

/** Tracks stand within the first few kilobytes. */
const HEAD = 64 * 1024;
const CODEC_PRIVATE = Buffer.from([0x63, 0xa2]);

/** Where the element's length stands, and the bytes from there on that take its place; null: it is not padded. Pure. */
export function unpadded(head: Buffer): { readonly at: number; readonly bytes: Buffer } | null {
  for (let at = head.indexOf(CODEC_PRIVATE); at >= 0; at = head.indexOf(CODEC_PRIVATE, at + 1)) {
    const from = at + CODEC_PRIVATE.length;
    // A length of two bytes (RFC 8794, 4): fourteen bits behind the mark.
    const length = head.length < from + 6 ? 0 : head.readUInt16BE(from) - 0x4000;
    if (length < 40 || length >= 0x4000 || head.length < from + 2 + length) continue;
    const content = head.subarray(from + 2, from + 2 + length);
    if (content.readUInt32LE(0) !== length - 1 || content.at(-1) !== 0) continue;
    const size = Buffer.from([0x20, (length - 1) >> 8, (length - 1) & 0xff]);
    return { at: from, bytes: Buffer.concat([size, content.subarray(0, -1)]) };
  }
  return null;
}

export async function unpad(path: string): Promise<void> {
  const handle = await open(fsPath(path), 'r+');
  try {
    const { buffer, bytesRead } = await handle.read(Buffer.alloc(HEAD), 0, HEAD, 0);
    const change = unpadded(buffer.subarray(0, bytesRead));
    if (change !== null) await handle.write(change.bytes, 0, change.bytes.length, change.at);
  } finally {
    await handle.close();
  }
}
