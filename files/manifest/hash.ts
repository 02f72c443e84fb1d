/**
 * Reads a file once, whole, and computes every wanted checksum from that reading. Holds up its thread while it reads:
 * meant for a thread of its own (hash-pool.ts), or for small files. Never writes, never follows a symbolic link at the end of the path, never opens a device or pipe.
 */
import { constants, closeSync, fstatSync, lstatSync, openSync, readSync } from 'node:fs';
import { fsPath } from '../names.ts';
import { seenText } from '../seen.ts';
import type { Algorithm } from './algorithms.ts';
import { createDigest } from './digest.ts';

/** Computed of every file, whatever the manifests state: copies are compared and clips recognised by it. The fastest there is, so that it costs next to nothing beside what is stated. */
export const CONTENT_ALGORITHM = 'xxh3' satisfies Algorithm;

export type FileRead =
  | {
      readonly state: 'read';
      readonly bytes: number;
      readonly hashes: Partial<Record<Algorithm, string>>;
      /** What the system said of it before and after (seen.ts). */
      readonly seen: string;
    }
  /** Size, a time or the file itself changed while it was read: what was read is not to be trusted. */
  | { readonly state: 'changed'; readonly detail: string }
  /** `code`: as node:fs names it (EACCES, EIO, ELOOP, ...), or `not-a-file`. */
  | { readonly state: 'unreadable'; readonly code: string; readonly detail: string }
  | { readonly state: 'stopped' };

export interface HashOptions {
  readonly signal?: Pick<AbortSignal, 'aborted'>;
  /** Called with the number of bytes after each block. */
  readonly onBytes?: (bytes: number) => void;
  /** To read into; it must not be in use elsewhere meanwhile. */
  readonly block?: Buffer;
}

/**
 * Chosen by measurement. Reading here and now beats reading ahead on another thread: the block is hashed while it is
 * still in this core's cache, and the kernel reads a disk ahead by itself.
 */
export const BLOCK_BYTES = 1024 * 1024;

export function createBlock(bytes: number = BLOCK_BYTES): Buffer {
  return Buffer.allocUnsafeSlow(bytes);
}

const statOf = (descriptor: number) => fstatSync(descriptor, { bigint: true });

function unreadable(error: unknown): FileRead {
  const { code, message } = error as NodeJS.ErrnoException;
  if (code === undefined) throw error;
  return { state: 'unreadable', code, detail: message };
}

async function readOpened(
  descriptor: number,
  wanted: Iterable<Algorithm>,
  options: HashOptions,
): Promise<FileRead> {
  const before = statOf(descriptor);
  if (!before.isFile())
    return { state: 'unreadable', code: 'not-a-file', detail: 'it is not a regular file' };
  const block = options.block ?? createBlock(Math.min(BLOCK_BYTES, Number(before.size) + 1));
  const digest = await createDigest(wanted);
  let bytes = 0;
  for (;;) {
    const count = readSync(descriptor, block, 0, block.length, bytes);
    if (count === 0) break;
    if (options.signal?.aborted === true) return { state: 'stopped' };
    digest.update(count === block.length ? block : block.subarray(0, count));
    bytes += count;
    options.onBytes?.(count);
  }
  const after = statOf(descriptor);
  if (after.size !== before.size || after.mtimeNs !== before.mtimeNs || BigInt(bytes) !== before.size) {
    return {
      state: 'changed',
      detail: `${before.size} bytes when opened, ${bytes} bytes read, ${after.size} bytes and ${after.mtimeNs === before.mtimeNs ? 'the same' : 'another'} modification time at the end`,
    };
  }
  return { state: 'read', bytes, hashes: digest.finish(), seen: seenText(after) };
}

/** Whether `path` is still the file that was read. */
function isStill(path: string, descriptor: number): boolean {
  const [named, opened] = [lstatSync(fsPath(path), { bigint: true }), statOf(descriptor)];
  return named.ino === opened.ino && named.dev === opened.dev;
}

/** How often a file is read whose times alone changed: a link to it or its rights may have, and its bytes not. */
const READINGS = 3;

/** Reads until nothing changed meanwhile. Of a change that nobody can hide (st_ctim) and that leaves size and time of writing alone, a second reading says whether it touched a byte. */
async function readSteadily(
  path: string,
  descriptor: number,
  wanted: Iterable<Algorithm>,
  options: HashOptions,
): Promise<FileRead> {
  for (let reading = 1; ; reading += 1) {
    const before = statOf(descriptor);
    const read = await readOpened(descriptor, wanted, options);
    if (read.state !== 'read') return read;
    if (!isStill(path, descriptor))
      return { state: 'changed', detail: 'another file has its name than the one that was read' };
    if (read.seen === seenText(before)) return read;
    if (reading === READINGS)
      return { state: 'changed', detail: `its record changed in each of ${READINGS} readings` };
  }
}

export async function hashFile(
  path: string,
  wanted: Iterable<Algorithm>,
  options: HashOptions = {},
): Promise<FileRead> {
  let descriptor: number;
  try {
    // NONBLOCK: opening a pipe that took the file's place must not wait for a writer.
    descriptor = openSync(fsPath(path), constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
  } catch (error) {
    return unreadable(error);
  }
  try {
    return await readSteadily(path, descriptor, wanted, options);
  } catch (error) {
    return unreadable(error);
  } finally {
    closeSync(descriptor);
  }
}
