/** Reads the raw frames of a clip in a thread: from their files to code values, by the decoder that served in the survey. */
import { openRaw, type RawDecoder } from '../../media/raw/decoders/decoder.ts';
import { LIBRAW_DECODER, locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { OWN_DECODER, ownDecoder } from '../../media/raw/decoders/own.ts';
import { framePath } from '../../media/raw/sequence.ts';
import type { MillSetup } from './orders.ts';

async function decoderNamed(name: string): Promise<RawDecoder> {
  const decoder = name === OWN_DECODER ? ownDecoder : name === LIBRAW_DECODER ? await locateLibRaw() : null;
  if (decoder === null) throw new RangeError(`this machine has no decoder ${name}`);
  return decoder;
}

export async function rawReader({ rollFolder, place }: NonNullable<MillSetup['raw']>, name: string): Promise<(index: number) => Promise<Uint16Array>> {
  const decoder = await decoderNamed(name);
  return async (index) => {
    const path = framePath(rollFolder, place, place.first + index);
    const { frame, file } = await openRaw(path);
    const { cfa } = await decoder.decode(path, frame, { file });
    return cfa;
  };
}
