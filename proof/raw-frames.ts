/** Raw pictures of equal size out of a stream, one after the other. */
/** `size`: bytes of each. What is left at the end and no whole picture is dropped: who counts frames finds them missing. */
export async function readFrames(
  stream: AsyncIterable<unknown>,
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

/** Codes of two bytes as they lie: little-endian, on a machine that is so too. */
export const codesIn = (bytes: Buffer): Uint16Array =>
  bytes.byteOffset % 2 === 0
    ? new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.length >> 1)
    : new Uint16Array(new Uint8Array(bytes).buffer);
