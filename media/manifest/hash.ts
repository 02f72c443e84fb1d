/**
 * Reads a file once, whole, and computes every wanted checksum from that reading. The next block is read while the
 * last one is hashed. Never writes, never follows a symbolic link at the end of the path, never opens a device or pipe.
 */
import { constants, close, fstat, open, read } from 'node:fs';
import { promisify } from 'node:util';
import { fsPath } from '../names.ts';
import type { Algorithm } from './algorithms.ts';
import { createDigest } from './digest.ts';

/** Computed of every file, whatever the manifests state: copies are compared and clips recognised by it. */
export const CONTENT_ALGORITHM = 'xxh128' satisfies Algorithm;

export type FileRead =
  | { readonly state: 'read'; readonly bytes: number; readonly hashes: Partial<Record<Algorithm, string>> }
  /** Size or modification time moved while it was read: what was read is not to be trusted. */
  | { readonly state: 'changed'; readonly detail: string }
  /** `code`: as node:fs names it (EACCES, EIO, ELOOP, ...), or `not-a-file`. */
  | { readonly state: 'unreadable'; readonly code: string; readonly detail: string }
  | { readonly state: 'stopped' };

export interface HashOptions {
  readonly signal?: Pick<AbortSignal, 'aborted'>;
  /** Called with the number of bytes after each block. */
  readonly onBytes?: (bytes: number) => void;
  /** Two blocks of equal size to read into; they must not be in use elsewhere meanwhile. */
  readonly blocks?: readonly [Buffer, Buffer];
}

/** Chosen by measurement: with smaller blocks the exchange with the reading thread costs more than the hashing. */
export const BLOCK_BYTES = 2 * 1024 * 1024;

export function createBlocks(bytes: number = BLOCK_BYTES): [Buffer, Buffer] {
  return [Buffer.allocUnsafeSlow(bytes), Buffer.allocUnsafeSlow(bytes)];
}

const openFile = promisify(open);
const closeFile = promisify(close);
const statOf = (descriptor: number) => promisify(fstat)(descriptor, { bigint: true });

function readBlock(descriptor: number, block: Buffer): Promise<number> {
  return new Promise((resolve, reject) => {
    read(descriptor, block, 0, block.length, null, (error, count) => (error ? reject(error) : resolve(count)));
  });
}

function unreadable(error: unknown): FileRead {
  const { code, message } = error as NodeJS.ErrnoException;
  if (code === undefined) throw error;
  return { state: 'unreadable', code, detail: message };
}

async function readOpened(descriptor: number, wanted: Iterable<Algorithm>, options: HashOptions): Promise<FileRead> {
  const before = await statOf(descriptor);
  if (!before.isFile()) return { state: 'unreadable', code: 'not-a-file', detail: 'it is not a regular file' };
  const size = Number(before.size);
  const blocks = options.blocks ?? createBlocks(Math.min(BLOCK_BYTES, size + 1));
  const digest = createDigest(wanted);
  let bytes = 0;
  let turn = 0;
  let next = readBlock(descriptor, blocks[0]);
  try {
    for (;;) {
      const count = await next;
      if (count === 0) break;
      if (options.signal?.aborted === true) return { state: 'stopped' };
      const block = blocks[turn] as Buffer;
      turn = 1 - turn;
      next = readBlock(descriptor, blocks[turn] as Buffer);
      digest.update(count === block.length ? block : block.subarray(0, count));
      bytes += count;
      options.onBytes?.(count);
    }
  } finally {
    // Nobody may close the file or use the blocks again while a read is under way. A failure of it was thrown above, or the reading has been given up.
    await next.catch(() => 0);
  }
  const after = await statOf(descriptor);
  if (after.size !== before.size || after.mtimeNs !== before.mtimeNs || BigInt(bytes) !== before.size) {
    return { state: 'changed', detail: `${before.size} bytes when opened, ${bytes} bytes read, ${after.size} bytes and ${after.mtimeNs === before.mtimeNs ? 'the same' : 'another'} modification time at the end` };
  }
  return { state: 'read', bytes, hashes: digest.finish() };
}

export async function hashFile(path: string, wanted: Iterable<Algorithm>, options: HashOptions = {}): Promise<FileRead> {
  let descriptor: number;
  try {
    // NONBLOCK: opening a pipe that took the file's place must not wait for a writer.
    descriptor = await openFile(fsPath(path), constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
  } catch (error) {
    return unreadable(error);
  }
  try {
    return await readOpened(descriptor, wanted, options);
  } catch (error) {
    return unreadable(error);
  } finally {
    await closeFile(descriptor);
  }
}
