/** Whole frames of a raw stream, one after the other. */
import type { Readable } from 'node:stream';

/** What follows the last whole one is left out; whoever counts frames misses it. */
export async function readFrames(
  stream: Readable,
  size: number,
  take: (frame: Buffer) => void | Promise<void>,
): Promise<void> {
  let frame: Buffer | null = null;
  let have = 0;
  for await (const chunk of stream) {
    const bytes = chunk as Buffer;
    let at = 0;
    while (at < bytes.length) {
      frame ??= Buffer.allocUnsafeSlow(size);
      const taken = Math.min(size - have, bytes.length - at);
      bytes.copy(frame, have, at, at + taken);
      at += taken;
      have += taken;
      if (have < size) continue;
      await take(frame);
      frame = null;
      have = 0;
    }
  }
}
