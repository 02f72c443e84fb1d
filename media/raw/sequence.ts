/** Reads the tags of every frame of a DNG sequence: which are damaged, which are whole and none of ours, and what the others say. */
import { codeOf } from '../../files/error-code.ts';
import { open } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import pLimit from 'p-limit';
import { type SequencePlace, frameName } from '../input.ts';
import { FileDamage } from '../../files/bytes.ts';
import { fsPath } from '../../files/names.ts';
import type { FrameDamage } from '../sequence/read.ts';
import type { DngFrame, RawPicture } from '../formats/dng/header.ts';
import { sourceOfFile } from '../formats/tiff/header.ts';
import type { Stated } from '../formats/stated-schema.ts';
import { SharedFrames, type StatedFrame, statedOfFrames } from '../formats/stated.ts';
import { statedInTiff } from '../formats/tiff/stated.ts';
import { readDng } from '../formats/dng/reader.ts';
import { DngRefusal } from '../formats/dng/refusal.ts';

/** Frames read at once: enough to hide the latency of a network volume. */
const AT_ONCE = 8;

export interface RefusedFrame {
  readonly name: string;
  readonly number: number;
  readonly reasons: readonly string[];
}
/** What is kept of every frame: not where its samples lie. */
export type FrameTags = Omit<DngFrame, 'storage'>;
export interface DngReading {
  /** By frame, in order; null where it is damaged or refused. */
  readonly frames: readonly (FrameTags | null)[];
  readonly first: DngFrame | null;
  readonly damaged: readonly FrameDamage[];
  readonly refused: readonly RefusedFrame[];
  /** 0 where the file could not be read. */
  readonly fileBytes: readonly number[];
  /** What the frames say beside their pictures; null: nothing. */
  readonly stated: Stated | null;
}

/** Absolute path of one frame, in the form of files/names.ts. */
export function framePath(rollFolder: string, place: SequencePlace, number: number): string {
  return join(resolve(rollFolder, place.folder), frameName(place, number));
}

export async function readDngSequence(
  rollFolder: string,
  place: SequencePlace,
  options: { signal?: AbortSignal; onFrame?: () => void } = {},
): Promise<DngReading> {
  const limit = pLimit(AT_ONCE);
  const damaged: FrameDamage[] = [];
  const refused: RefusedFrame[] = [];
  const fileBytes: number[] = Array.from({ length: place.count }, () => 0);
  const stated: (StatedFrame | null)[] = Array.from({ length: place.count }, () => null);
  const shared = new SharedFrames();
  let first: DngFrame | null = null;
  // Frames of one setting share one description, or the tables of an hour of frames would fill the memory.
  let usual: RawPicture | undefined;
  const readOne = async (index: number): Promise<FrameTags | null> => {
    options.signal?.throwIfAborted();
    options.onFrame?.();
    const number = place.first + index;
    const name = frameName(place, number);
    try {
      const handle = await open(fsPath(framePath(rollFolder, place, number)), 'r');
      try {
        const { size } = await handle.stat();
        fileBytes[index] = size;
        const source = sourceOfFile(handle, size);
        const frame = await readDng(source);
        stated[index] = shared.share(await statedInTiff(source));
        if (index === 0) first = frame;
        usual ??= frame.picture;
        const { storage: _where, ...tags } = frame;
        return isDeepStrictEqual(tags.picture, usual) ? { ...tags, picture: usual } : tags;
      } finally {
        await handle.close();
      }
    } catch (error) {
      if (error instanceof DngRefusal) refused.push({ name, number, reasons: error.reasons });
      // A frame that is not there or cannot be opened counts as damaged: the caller listed it.
      else if (error instanceof FileDamage || error instanceof RangeError || codeOf(error) !== '')
        damaged.push({ name, number, why: (error as Error).message });
      else throw error;
      return null;
    }
  };
  const frames = await Promise.all(
    Array.from({ length: place.count }, (_, index) => limit(() => readOne(index))),
  );
  const inOrder = (a: { number: number }, b: { number: number }): number => a.number - b.number;
  return {
    frames,
    first,
    damaged: damaged.sort(inOrder),
    refused: refused.sort(inOrder),
    fileBytes,
    stated: statedOfFrames(stated),
  };
}
