/** Our own reading of clips' headers, as what asks for it sees it: here, or in a process of its own (coordinator/survey/reader.ts). */
import { type MovieForm, readForm } from '../probe/form.ts';
import { openRaw } from './decoders/decoder.ts';
import { ownDecoder } from './decoders/own.ts';
import { type DngReading, readDngSequence } from './sequence.ts';
import { type SequenceReading, readSequence } from '../sequence/read.ts';
import type { SequencePlace } from '../input.ts';

export interface ReadOptions {
  readonly signal?: AbortSignal;
  /** Called at every frame. */
  readonly onFrame?: () => void;
}

export interface ClipReaders {
  /** `path`: for node:fs. All throw the file system's errors and the signal's reason. */
  form(path: string | Buffer, options: ReadOptions): Promise<MovieForm>;
  stills(rollFolder: string, place: SequencePlace, options: ReadOptions): Promise<SequenceReading>;
  raw(rollFolder: string, place: SequencePlace, options: ReadOptions): Promise<DngReading>;
  /** `path`: in the form of files/names.ts. Decodes one raw frame by our own decoder, for the proof that it does. Throws FileDamage as well. */
  decode(path: string, options: ReadOptions): Promise<void>;
}

/** In this process. */
export const readersHere: ClipReaders = {
  form: (path) => readForm(path),
  stills: readSequence,
  raw: readDngSequence,
  decode: async (path, { signal }) => {
    const { frame, file } = await openRaw(path);
    await ownDecoder.decode(path, frame, signal === undefined ? { file } : { file, signal });
  },
};
