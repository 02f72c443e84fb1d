/** Which decoders the clips of a roll are offered to, in order. */
import type { DeclaredDecoders } from '../../media/raw/decoders/declared/all.ts';
import { takesName } from '../../media/raw/decoders/declared/names.ts';
import type { LoadedDecoder } from '../../media/raw/decoders/declared/programs.ts';
import type { RawDecoder } from '../../media/raw/decoders/decoder.ts';
import { locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { LIBRAW_DECODER, OWN_DECODER } from '../../media/raw/decoders/names.ts';
import { ownDecoder } from '../../media/raw/decoders/own.ts';
import { levelsOf, nearest } from './levels.ts';
import type { SettingsFile } from './schema.ts';

export interface RollDecoders {
  /** Of raw frames; the first that takes a clip serves it. */
  readonly raw: readonly RawDecoder[];
  /** The declared decoder that gives the pictures of a file (a path, `/` between parts); null: none takes it. */
  declared(path: string): LoadedDecoder | null;
}

/**
 * Raw frames: our own, for what it does not take LibRaw's, if the machine has it, then those that are declared; or the one that the settings
 * name, alone. What a declared decoder of pictures takes is its own, but DNG frames only where the settings name no other.
 */
export async function decodersFor(
  settings: SettingsFile,
  roll: string,
  { raw, pictures }: DeclaredDecoders,
): Promise<RollDecoders> {
  const { levels } = levelsOf(settings, roll, null, null);
  const named = nearest(levels, (part) => part.raw?.decoder)?.value;
  const libraw = named === undefined || named === LIBRAW_DECODER ? await locateLibRaw() : null;
  const all = [
    ...(named === undefined || named === OWN_DECODER ? [ownDecoder] : []),
    ...(libraw === null ? [] : [libraw]),
    ...raw,
  ];
  return {
    raw: named === undefined ? all : all.filter(({ name }) => name === named),
    declared: (path) =>
      pictures.find(
        (decoder) =>
          takesName(decoder, path) &&
          (named === undefined || named === decoder.declared.name || !/\.dng$/i.test(path)),
      ) ?? null,
  };
}
