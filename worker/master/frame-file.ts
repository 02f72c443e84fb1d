/** The file of a frame as a thread makes it: written part by part, and digested while the part is still in the processor's cache. */
import { closeSync, openSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { Xxh128 } from '../../files/manifest/xxh128.ts';

export interface FrameFile {
  /** What follows in the file. */
  put(bytes: Uint8Array): void;
  /** Of the whole file, behind its last part. */
  end(): { readonly name: string; readonly bytes: number; readonly xxh128: string };
  /** Whatever became of it; more than once is not an error. */
  close(): void;
}

/** Throws where a file of this name exists. A thread has nothing else to do meanwhile, and waiting for promises takes a third of the time again: all of it waits. */
export function createFrameFile(folder: string, name: string): FrameFile {
  const descriptor = openSync(join(folder, name), 'wx');
  const digest = new Xxh128();
  let bytes = 0;
  let isOpen = true;
  return {
    put(part) {
      for (let at = 0; at < part.length; ) at += writeSync(descriptor, part, at, part.length - at);
      digest.update(part);
      bytes += part.length;
    },
    end: () => ({ name, bytes, xxh128: digest.digest() }),
    close() {
      if (!isOpen) return;
      isOpen = false;
      closeSync(descriptor);
    },
  };
}
