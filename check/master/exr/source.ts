/** Where the bytes of a file come from: memory, or a file that is read by pieces. */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../../files/bytes.ts';

export interface FrameBytes {
  readonly bytes: number;
  /** Fewer at the end. */
  read(position: number, length: number): Promise<Buffer>;
}

export function sourceOfBytes(input: Uint8Array): FrameBytes {
  const bytes = Buffer.from(input.buffer, input.byteOffset, input.length);
  return {
    bytes: bytes.length,
    read: async (position, length) => bytes.subarray(position, position + length),
  };
}

/** The file must not change meanwhile. */
export async function sourceOfFile(handle: FileHandle): Promise<FrameBytes> {
  const { size } = await handle.stat();
  return { bytes: size, read: (position, length) => readAt(handle, position, length) };
}
