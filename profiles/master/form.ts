/** How the values of a master are coded. No schemas here: the threads load it. */
import type { CodeBits } from '../../media/colour/acescct.ts';
import type { FrameCompression, MasterFormat } from './schema.ts';

export interface MasterForm {
  readonly format: MasterFormat;
  /** Of a code of DPX. */
  readonly bits?: CodeBits | null | undefined;
  /** Of frames of OpenEXR. */
  readonly compression?: FrameCompression | undefined;
  /** How much DWA may lose. */
  readonly dwaLevel?: number | null | undefined;
}

/** What OpenEXR takes where nobody says (ImfDwaCompressor.cpp). */
export const USUAL_DWA_LEVEL = 45;
/** dwaCompressionLevel. */
export const dwaLevelOf = ({ dwaLevel }: Pick<MasterForm, 'dwaLevel'>): number => dwaLevel ?? USUAL_DWA_LEVEL;
/** Frames that lose something when they are written. */
export const isLossy = ({ compression }: Pick<MasterForm, 'compression'>): boolean =>
  compression === 'dwaa' || compression === 'dwab';

/** Of a code of DPX. */
export const bitsOf = ({ bits }: Pick<MasterForm, 'bits'>): CodeBits => bits ?? 10;
