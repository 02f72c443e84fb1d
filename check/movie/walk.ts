/** The way over the pictures of a track, of each of which something is read where it lies in the file. */
import type { FileHandle } from 'node:fs/promises';
import { samplesOf, type SampleTables } from './samples.ts';

/** One picture: a sample of the track. */
export interface PicturePlace {
  readonly handle: FileHandle;
  /** Bytes of the file. */
  readonly from: number;
  readonly end: number;
  /** Bytes of the length before each unit. */
  readonly lengthBytes: number;
}

/** What `read` gives of each, in the order of the track. */
export async function readPictures<Read>(
  {
    tables,
    signal,
    ...track
  }: Pick<PicturePlace, 'handle' | 'lengthBytes'> & {
    readonly tables: SampleTables;
    readonly signal: AbortSignal | undefined;
  },
  read: (picture: PicturePlace) => Promise<Read>,
): Promise<readonly Read[]> {
  const found: Read[] = [];
  for (const { at, bytes } of samplesOf(tables)) {
    if (found.length % 256 === 0) signal?.throwIfAborted();
    found.push(await read({ ...track, from: at, end: at + bytes }));
  }
  return found;
}
