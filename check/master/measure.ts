/** Measures a master: which files its folder holds, and every frame of them, read once. */
import { createHash } from 'node:crypto';
import { lstat, readFile } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { programFile } from '../../files/installation.ts';
import { entriesOf, type FolderDigest, folderDigestOf } from '../../files/folder-digest.ts';
import { fsPath } from '../../files/names.ts';
import { createThreadPool } from '../../process/threads.ts';
import type { Spot } from '../../proof/pixel-samples.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import { bitsOf } from '../../profiles/master/form.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { readLookFiles } from './look-files.ts';
import { carriedNames } from './carried-expected.ts';
import type { CompanionsMeasured, FrameMeasured, MasterMeasured } from './measured.ts';
import type { MeasureAnswer, MeasureOrder, MeasureSetup } from './thread.ts';

export interface MeasureMasterRequest {
  readonly path: string;
  /** <delivery>/<day>/<roll>. */
  readonly rollFolder: string;
  readonly outcome: MasterOutcome;
  readonly spots: readonly Spot[];
  readonly threads?: number;
  readonly signal?: AbortSignal;
  readonly onFrames?: (frames: number) => void;
}

/** Throws what node:fs throws for a folder that cannot be read, and the signal's reason when stopped. */
export async function measureMaster({
  path,
  rollFolder,
  outcome,
  spots,
  threads,
  signal,
  onFrames,
}: MeasureMasterRequest): Promise<MasterMeasured & { readonly digest: FolderDigest }> {
  const { format } = outcome;
  const identity = await lstat(fsPath(path), { bigint: true });
  if (!identity.isDirectory())
    throw Object.assign(new Error(`${path} is no folder`), { code: 'ENOTDIR', path });
  const { names, strange } = await entriesOf(path);
  const expected = new Map(
    Array.from({ length: outcome.frames }, (_, index) => [frameFileName(outcome, index), index]),
  );
  const companions = new Set([outcome.amf.file, ...(outcome.amf.clf === null ? [] : [outcome.amf.clf])]);
  const there = new Set(names);
  const spotOf = new Map(spots.map((spot) => [spot.frame, spot.pixels]));
  const pool = createThreadPool<MeasureSetup, MeasureOrder, MeasureAnswer>(
    programFile('check/master/thread.js'),
    Math.max(1, threads ?? availableParallelism()),
    {
      folder: path,
      format,
      width: outcome.width,
      height: outcome.height,
      base: outcome.timecode.base,
      bits: bitsOf(outcome),
      carried: carriedNames(outcome),
    },
  );
  const stop = (): void => void pool.close();
  signal?.addEventListener('abort', stop, { once: true });
  let done = 0;
  try {
    signal?.throwIfAborted();
    // Files that are no frames are read too: the folder's digest is of everything in it.
    const measured = await Promise.all(
      names.map(async (name) => {
        const index = expected.get(name) ?? -1;
        const answer = await pool.run({ index, name, spot: spotOf.get(index) ?? [] });
        done += 1;
        onFrames?.(done);
        return answer;
      }),
    );
    const frames: FrameMeasured[] = measured
      .filter(({ index }) => index >= 0)
      .sort((a, b) => a.index - b.index);
    return {
      digest: folderDigestOf(measured, strange, { device: identity.dev, inode: identity.ino }),
      strange: [
        ...strange.map(({ name, what }) => `${name}, ${what}`),
        ...names.filter((name) => !expected.has(name) && !companions.has(name)),
      ],
      missing: [...expected.keys()].filter((name) => !there.has(name)),
      frames,
      companions: {
        ...(await companionsIn(path, outcome, measured)),
        kept: await readLookFiles(rollFolder, outcome.amf),
      },
    };
  } catch (error) {
    signal?.throwIfAborted();
    throw error;
  } finally {
    signal?.removeEventListener('abort', stop);
    await pool.close();
  }
}

/** A table of 256 places a side is some 600 MB of text: far beyond what any grading room has. */
export const LARGEST_COMPANION = 64 * 1024 * 1024;

/** What lies beside the frames, where its bytes are those that the folder's digest is of. */
async function companionsIn(
  folder: string,
  { amf }: MasterOutcome,
  read: readonly Pick<MeasureAnswer, 'name' | 'bytes' | 'sha256'>[],
): Promise<Omit<CompanionsMeasured, 'kept'>> {
  const bytesOf = async (wanted: string | null): Promise<Buffer | null> => {
    const listed = read.find(({ name }) => name === wanted);
    if (listed === undefined || listed.bytes > LARGEST_COMPANION) return null;
    const bytes = await readFile(fsPath(join(folder, listed.name)));
    const sha256 = createHash('sha256').update(bytes).digest('hex');
    return sha256 === listed.sha256 ? bytes : null;
  };
  return { amf: await bytesOf(amf.file), clf: await bytesOf(amf.clf) };
}
