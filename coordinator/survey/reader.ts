/**
 * The process in which clips' headers are read: a damaged file that ends it, or that nothing comes back from, costs its clip and no
 * other. One for a run, begun at the first clip and again whenever it is gone.
 */
import { programFile } from '../../files/installation.ts';
import { FileDamage } from '../../files/bytes.ts';
import type { ClipReaders } from '../../media/raw/clip-readers.ts';
import type { SequencePlace } from '../../media/input.ts';
import type { MovieForm } from '../../media/probe/form.ts';
import type { DngReading } from '../../media/raw/sequence.ts';
import type { SequenceReading } from '../../media/sequence/read.ts';
import { createHelper, type HelperOptions } from '../../process/helper.ts';

export type ReaderOrder =
  | { readonly read: 'form'; readonly path: string | Buffer }
  | { readonly read: 'stills' | 'raw'; readonly rollFolder: string; readonly place: SequencePlace }
  | { readonly read: 'decode'; readonly path: string };
export type ReaderResult = MovieForm | SequenceReading | DngReading | { readonly damage: string | null };

/** Two minutes without one frame's header: a dead volume, or a file from which no reader returns. */
export const SILENT_MILLISECONDS = 120_000;
const OPTIONS: Omit<HelperOptions, 'program'> = {
  // The tags of an hour of raw frames take a few hundred megabytes.
  heapMegabytes: 1024,
  // A raw frame of 400 million pixels, as it lies and decoded.
  memoryMegabytes: 4096,
  silentMilliseconds: SILENT_MILLISECONDS,
};

/** All throw HelperDied too. `close` ends the process; what is asked for later begins another. */
export function readersApart(options: Partial<HelperOptions> = {}): ClipReaders & { close(): void } {
  const helper = createHelper<ReaderOrder, ReaderResult>({
    program: programFile('coordinator/survey/reader-process.js'),
    ...OPTIONS,
    ...options,
  });
  return {
    form: async (path, { signal }) => (await helper.run({ read: 'form', path }, signal)) as MovieForm,
    stills: async (rollFolder, place, { signal }) =>
      (await helper.run({ read: 'stills', rollFolder, place }, signal)) as SequenceReading,
    raw: async (rollFolder, place, { signal }) =>
      (await helper.run({ read: 'raw', rollFolder, place }, signal)) as DngReading,
    decode: async (path, { signal }) => {
      const { damage } = (await helper.run({ read: 'decode', path }, signal)) as { damage: string | null };
      if (damage !== null) throw new FileDamage(damage);
    },
    close: helper.close,
  };
}
