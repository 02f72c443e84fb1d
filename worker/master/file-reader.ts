/** How a thread reads the files of frames one after the other. */
import { open } from 'node:fs/promises';
import { fsPath } from '../../files/names.ts';

/** Whole files, each in the place of the one before it. */
export function fileReader(): (path: string) => Promise<Buffer> {
  let room = Buffer.alloc(0);
  return async (path) => {
    const handle = await open(fsPath(path), 'r');
    try {
      const { size } = await handle.stat();
      if (room.length < size) room = Buffer.allocUnsafeSlow(size);
      let filled = 0;
      while (filled < size) {
        const { bytesRead } = await handle.read(room, filled, size - filled, filled);
        if (bytesRead === 0) break;
        filled += bytesRead;
      }
      return room.subarray(0, filled);
    } finally {
      await handle.close();
    }
  };
}
