/** A colour transform file, by its ending. */
import { cubeSteps } from './cube.ts';
import { clfSteps } from './clf.ts';
import { ColourFileError, refusedFile } from './refuse.ts';
import type { Interpolation, Step } from './steps.ts';

/** `name` ends in .cube or .clf; `interpolation`: of a .cube file, trilinear when absent. Throws FindingError `colour-file-refused` when anything in the file is not understood. */
export function colourFileSteps(name: string, bytes: Buffer, interpolation?: Interpolation): Step[] {
  try {
    return /\.clf$/i.test(name) ? clfSteps(bytes) : cubeSteps(bytes, interpolation);
  } catch (error) {
    if (error instanceof ColourFileError) throw refusedFile(name, error);
    throw error;
  }
}
