/** Which decoders a roll's raw frames are offered to, in order. */
import type { RawDecoder } from '../../media/raw/decoders/decoder.ts';
import { LIBRAW_DECODER, locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { OWN_DECODER, ownDecoder } from '../../media/raw/decoders/own.ts';
import { partsFor } from './read.ts';
import type { SettingsFile } from './schema.ts';

/** Our own and, for what it does not take, LibRaw's, if the machine has it; the one that the settings name alone. */
export async function decodersFor(settings: SettingsFile | null, roll: string): Promise<RawDecoder[]> {
  const named = settings === null ? undefined : partsFor(settings, roll).map(({ part }) => part.raw?.decoder).find((name) => name !== undefined);
  if (named === OWN_DECODER) return [ownDecoder];
  const libraw = await locateLibRaw();
  if (named === LIBRAW_DECODER) return libraw === null ? [] : [libraw];
  return libraw === null ? [ownDecoder] : [ownDecoder, libraw];
}
