/** How the values of a master are coded. No schemas here: the threads load it. */
import type { CodeBits } from '../../media/colour/acescct.ts';
import type { MasterFormat } from './schema.ts';

export interface MasterForm {
  readonly format: MasterFormat;
  /** Of a code of DPX. */
  readonly bits?: CodeBits | undefined;
}

/** Of a code of DPX. */
export const bitsOf = ({ bits = 10 }: Pick<MasterForm, 'bits'>): CodeBits => bits;
