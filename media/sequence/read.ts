/** Reads every header of a sequence of stills: what each frame must have in common, and which are damaged. */
import { codeOf } from '../../files/error-code.ts';
import { open } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import pLimit from 'p-limit';
import { type SequencePlace, frameName } from '../input.ts';
import { FileDamage } from '../../files/bytes.ts';
import { fsPath } from '../../files/names.ts';
import { readDpx } from '../formats/dpx/reader.ts';
import { readExr } from '../formats/exr/reader.ts';
import { StillDamage, type StillHeader } from '../formats/still.ts';
import { readTiff } from '../formats/tiff/reader.ts';
import type { Stated } from '../formats/stated-schema.ts';
import { SharedFrames, type StatedFrame, statedOfFrames } from '../formats/stated.ts';

/** Frames read at once: enough to hide the latency of a network volume. */
const AT_ONCE = 8;

export interface FrameDamage {
  /** File name within the sequence's folder. */
  readonly name: string;
  readonly number: number;
  readonly why: string;
}
export interface SequenceReading {
  /** By frame, in order; null where the header is damaged. */
  readonly headers: readonly (StillHeader | null)[];
  readonly damaged: readonly FrameDamage[];
  readonly fileBytes: readonly number[];
  /** What the frames say beside their pictures; null: nothing. */
  readonly stated: Stated | null;
}

/** Reads one header and compares the file's length with what it needs. Throws StillDamage, or the file system's error. */
export async function readStill(
  path: string | Buffer,
  suffix: string,
): Promise<{ header: StillHeader; stated: StatedFrame; fileBytes: number }> {
  const handle = await open(path, 'r');
  try {
    const fileBytes = (await handle.stat()).size;
    if (fileBytes === 0) throw new StillDamage('0 bytes');
    const kind = suffix.toLowerCase();
    const { header, stated } = kind.endsWith('.dpx')
      ? await readDpx(handle)
      : kind.endsWith('.exr')
        ? await readExr(handle, fileBytes)
        : await readTiff(handle, fileBytes);
    if (header.neededBytes !== null && header.neededBytes > fileBytes)
      throw new StillDamage(`${fileBytes} bytes, the picture ends at ${header.neededBytes}`);
    return { header, stated, fileBytes };
  } finally {
    await handle.close();
  }
}

/** A frame that is not there or cannot be opened counts as damaged: the caller listed it. */
export async function readSequence(
  rollFolder: string,
  place: SequencePlace,
  options: { signal?: AbortSignal; onFrame?: () => void } = {},
): Promise<SequenceReading> {
  const limit = pLimit(AT_ONCE);
  const folder = resolve(rollFolder, place.folder);
  const damaged: FrameDamage[] = [];
  const shared = new SharedFrames();
  const frames = await Promise.all(
    Array.from({ length: place.count }, (_, index) =>
      limit(async () => {
        options.signal?.throwIfAborted();
        options.onFrame?.();
        const number = place.first + index;
        const name = frameName(place, number);
        try {
          const still = await readStill(fsPath(join(folder, name)), place.suffix);
          return { ...still, stated: shared.share(still.stated) };
        } catch (error) {
          const expected = error instanceof FileDamage || error instanceof RangeError || codeOf(error) !== '';
          if (!expected) throw error;
          damaged.push({ name, number, why: (error as Error).message });
          return null;
        }
      }),
    ),
  );
  damaged.sort((a, b) => a.number - b.number);
  return {
    headers: frames.map((frame) => frame?.header ?? null),
    damaged,
    fileBytes: frames.map((frame) => frame?.fileBytes ?? 0),
    stated: statedOfFrames(frames.map((frame) => frame?.stated ?? null)),
  };
}
