/** Reading a piece of a file that somebody else wrote: what it says of lengths and places is a claim, and its size bounds the claim. */
import type { FileHandle } from 'node:fs/promises';
import { CodedError, type ErrorCode } from './coded-error.ts';

/**
 * Bytes that cannot be what they claim to be: cut off, edited, torn. The message says what and where, and a reader's caller makes a
 * finding of it. Every reader's own kind of damage is one of these.
 */
export class FileDamage extends CodedError {
  constructor(message: string, code: ErrorCode = 'file-damaged') {
    super(code, message);
    this.name = 'FileDamage';
  }
}

/** More than any reader asks for at once: node:fs takes a length of 32 bits with sign, and ends the whole process over a longer one. */
const MOST_AT_ONCE = 1024 ** 3;
/** Up to here memory is cheaper than asking how long the file is. */
const SET_ASIDE_UNASKED = 64 * 1024;

/**
 * Reads up to `length` bytes at `position`; fewer at the end of the file. No memory is set aside for bytes that the file does not
 * have. Throws FileDamage for a place or a length that no reader can mean, and the file system's error.
 */
export async function readAt(handle: FileHandle, position: number, length: number): Promise<Buffer> {
  if (!Number.isSafeInteger(position) || position < 0 || !Number.isSafeInteger(length) || length < 0)
    throw new FileDamage(`${length} bytes at byte ${position}: no part of a file`);
  const there =
    length <= SET_ASIDE_UNASKED
      ? length
      : Math.max(0, Math.min(length, (await handle.stat()).size - position));
  if (there > MOST_AT_ONCE) throw new FileDamage(`a part of ${length} bytes at byte ${position}`);
  const buffer = Buffer.alloc(there);
  let done = 0;
  while (done < there) {
    const { bytesRead } = await handle.read(buffer, done, there - done, position + done);
    if (bytesRead === 0) break;
    done += bytesRead;
  }
  return buffer.subarray(0, done);
}
