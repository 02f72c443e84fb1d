/** Reading a piece of a file. */
import type { FileHandle } from 'node:fs/promises';

/** Reads up to `length` bytes at `position`; fewer at the end of the file. */
export async function readAt(handle: FileHandle, position: number, length: number): Promise<Buffer> {
  const buffer = Buffer.alloc(length);
  let done = 0;
  while (done < length) {
    const { bytesRead } = await handle.read(buffer, done, length - done, position + done);
    if (bytesRead === 0) break;
    done += bytesRead;
  }
  return buffer.subarray(0, done);
}
