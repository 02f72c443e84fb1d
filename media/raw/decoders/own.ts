/** Our own decoder in plain TypeScript: without compression, and lossless JPEG. */
import { readFile } from 'node:fs/promises';
import { packageVersion } from '../../installation.ts';
import { fsPath } from '../../names.ts';
import { decodeCfa, notOurs } from '../dng/decode.ts';
import type { RawDecoder } from './decoder.ts';

export const OWN_DECODER = 'own';

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
