/** Our own decoder: without compression, and lossless JPEG. */
import { readFile } from 'node:fs/promises';
import { packageVersion } from '../../installation.ts';
import type { KernelMemory } from '../../kernels/memory.ts';
import { fsPath } from '../../names.ts';
import { decodeCfa, notOurs } from '../dng/decode.ts';
import type { DngFrame } from '../dng/frame.ts';
import { DngKernel } from '../dng/kernel.ts';
import type { RawDecoder } from './decoder.ts';

export const OWN_DECODER = 'own';

function decoderBy(decode: (file: Buffer, frame: DngFrame) => Uint16Array): RawDecoder {
  return {
    name: OWN_DECODER,
    version: packageVersion(),
    objection: (_path, frame) => notOurs(frame),
    decode: async (path, frame, options = {}) => {
      const file = options.file ?? (await readFile(fsPath(path)));
      options.signal?.throwIfAborted();
      return { cfa: decode(file, frame), width: frame.picture.width, height: frame.picture.height };
    },
  };
}

/** In plain TypeScript: for the survey, which decodes one frame, and for the checker. */
export const ownDecoder: RawDecoder = decoderBy(decodeCfa);

/** By the kernel, on the memory of one thread: for making. */
export async function ownKernelDecoder(memory: KernelMemory): Promise<RawDecoder> {
  const kernel = await DngKernel.load(memory);
  return decoderBy((file, frame) => kernel.decode(file, frame));
}
