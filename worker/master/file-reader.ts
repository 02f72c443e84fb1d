/** How a thread reads the files of frames one after the other. */
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { fsPath } from '../../files/names.ts';

/** Whole files, each in the place of the one before it. A thread has nothing else to do meanwhile: promises would only let it wait for other threads. */
export function fileReader(): (path: string) => Buffer {
  let room = Buffer.alloc(0);
  return (path) => {
    const descriptor = openSync(fsPath(path), 'r');
    try {
      const { size } = fstatSync(descriptor);
      if (room.length < size) room = Buffer.allocUnsafeSlow(size);
      let filled = 0;
      while (filled < size) {
        const bytesRead = readSync(descriptor, room, filled, size - filled, filled);
        if (bytesRead === 0) break;
        filled += bytesRead;
      }
      return room.subarray(0, filled);
    } finally {
      closeSync(descriptor);
    }
  };
}
