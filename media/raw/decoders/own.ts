/** Our own decoder: without compression, and lossless JPEG. */
import { readFile } from 'node:fs/promises';
import { packageVersion } from '../../../files/installation.ts';
import { fsPath } from '../../../files/names.ts';
import { decodeCfa, notOurs } from '../../formats/dng/decode.ts';
import type { RawDecoder } from './decoder.ts';
import { OWN_DECODER } from './names.ts';

/** In plain TypeScript: for the survey, which decodes one frame, and for the checker. Masters are made by the kernel (media/formats/dng/kernel.ts), which gives the same. */
export const ownDecoder: RawDecoder = {
  name: OWN_DECODER,
  version: packageVersion(),
  objection: (_path, frame) => notOurs(frame),
  decode: async (path, frame, options = {}) => {
    const file = options.file ?? (await readFile(fsPath(path)));
    options.signal?.throwIfAborted();
    return { cfa: decodeCfa(file, frame), width: frame.picture.width, height: frame.picture.height };
  },
};
