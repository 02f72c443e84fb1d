/** Reads the raw frames of a clip in a thread: from their files to code values, by the decoder that the settings name. */
import { readFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { frameName } from '../../media/input.ts';
import { fsPath } from '../../media/names.ts';
import { decodeCfa } from '../../media/raw/dng/decode.ts';
import { sourceOfBytes } from '../../media/raw/dng/ifd.ts';
import { readDng } from '../../media/raw/dng/read.ts';
import type { MillSetup } from './orders.ts';

type Raw = NonNullable<MillSetup['raw']>;

export function rawReader({ rollFolder, place }: Raw, decoder: string): (index: number) => Promise<Uint16Array> {
  if (decoder !== 'own') throw new RangeError(`no decoder ${decoder}`);
  return async (index) => {
    const bytes = await readFile(fsPath(join(resolve(rollFolder, place.folder), frameName(place, place.first + index))));
    return decodeCfa(bytes, await readDng(sourceOfBytes(bytes)));
  };
}
