/** The digests that name the bytes of a deliverable, from one read of the disk: XXH128 for recognising them, SHA-256 for proving them to others. */
import { open } from 'node:fs/promises';
import { createDigest } from './manifest/digest.ts';
import { fsPath } from './names.ts';

/** Of a file, or of a folder of files (folder-digest.ts). */
export interface ContentDigest {
  readonly bytes: number;
  /** 32 lower-case hex digits, canonical order. */
  readonly xxh128: string;
  /** 64 lower-case hex digits. */
  readonly sha256: string;
  /** Which one it was: a name can be given to another one. */
  readonly device: bigint;
  readonly inode: bigint;
}

export interface FileDigest extends ContentDigest {
  /** When it was last written or changed before it was read (st_ctim, in ns): the number of a file that is gone is soon another's, and writing into a file leaves its number. */
  readonly changed: bigint;
  /** When its bytes were last written (st_mtim, in ns), which a new name leaves alone. */
  readonly modified: bigint;
}

/** Reads the whole file once. Throws what node:fs throws, and the signal's reason when aborted. */
export async function digestOfFile(path: string, signal?: AbortSignal): Promise<FileDigest> {
  const handle = await open(fsPath(path), 'r');
  try {
    const stats = await handle.stat({ bigint: true });
    const hash = await createDigest(['xxh128', 'sha256']);
    const buffer = Buffer.allocUnsafe(1024 * 1024);
    let bytes = 0;
    for (;;) {
      signal?.throwIfAborted();
      const { bytesRead } = await handle.read(buffer, 0, buffer.length, bytes);
      if (bytesRead === 0) break;
      hash.update(buffer.subarray(0, bytesRead));
      bytes += bytesRead;
    }
    const { xxh128, sha256 } = hash.finish() as { xxh128: string; sha256: string };
    return {
      bytes,
      xxh128,
      sha256,
      device: stats.dev,
      inode: stats.ino,
      changed: stats.ctimeNs,
      modified: stats.mtimeNs,
    };
  } finally {
    await handle.close();
  }
}
