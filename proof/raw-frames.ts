/** Raw pictures of equal size out of a stream, one after the other. */
import type { Readable } from 'node:stream';

/** `size`: bytes of each. What is left at the end and no whole picture is dropped: who counts frames finds them missing. */
export async function readFrames(
  stream: Readable,
  size: number,
  take: (frame: Buffer) => void,
): Promise<void> {
  let parts: Buffer[] = [];
  let have = 0;
  for await (const chunk of stream) {
    parts.push(chunk as Buffer);
    have += (chunk as Buffer).length;
    if (have < size) continue;
    const all = Buffer.concat(parts, have);
    let at = 0;
    for (; at + size <= have; at += size) take(Buffer.from(all.subarray(at, at + size)));
    parts = [all.subarray(at)];
    have -= at;
  }
}
