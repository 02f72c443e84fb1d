/** Reads the raw frames of a clip in a thread: from their files to code values in its memory, by the decoder that served in the survey. */
import type { KernelMemory } from '../../media/kernels/memory.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { OWN_DECODER } from '../../media/raw/decoders/names.ts';
import type { Samples } from '../../media/formats/dng/decode.ts';
import type { DngFrame } from '../../media/formats/dng/header.ts';
import type { RawFacts } from '../../media/raw-facts.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { DngKernel } from '../../media/formats/dng/kernel.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import type { DevelopKernel } from '../../media/raw/develop/kernel.ts';
import { framePath } from '../../media/raw/sequence.ts';
import { fileReader } from './file-reader.ts';
import type { FramePoolSetup } from './orders.ts';

/** Puts the codes of a frame where they are wanted: `codes` gives the place again each time, since it moves when the memory grows. */
type Fill = (path: string, file: Buffer, frame: DngFrame) => Promise<void>;

async function fillBy(
  served: RawFacts['decoder'],
  memory: KernelMemory,
  codes: () => Samples,
): Promise<Fill> {
  if (served.name === OWN_DECODER) {
    const kernel = await DngKernel.load(memory);
    return async (_path, file, frame) => kernel.decodeInto(file, frame, codes());
  }
  const { rawDecoderHere } = await import('../../media/raw/decoders/here.ts');
  const here = await rawDecoderHere(served);
  // Asked before the job was begun, so that it went away since.
  if ('findings' in here)
    throw new DecoderFailed(served.name, here.findings.map(({ found }) => found).join('; '));
  const { decoder } = here;
  return async (path, file, frame) => {
    const { cfa } = await decoder.decode(path, frame, { file });
    const to = codes();
    if (cfa.length !== to.length) throw new RangeError(`${cfa.length} codes for ${to.length} pixels`);
    to.set(cfa);
  };
}

export async function rawReader(
  { rollFolder, place, decoder }: NonNullable<FramePoolSetup['raw']>,
  memory: KernelMemory,
  kernel: Pick<DevelopKernel, 'codes' | 'correct'>,
): Promise<(index: number) => Promise<void>> {
  const fill = await fillBy(decoder, memory, () => kernel.codes());
  const read = fileReader();
  return async (index) => {
    const path = framePath(rollFolder, place, place.first + index);
    const file = read(path);
    const frame = await readDng(sourceOfBytes(file));
    await fill(path, file, frame);
    kernel.correct(frame.opcodes);
  };
}
