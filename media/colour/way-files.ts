/**
 * Parts of the way to the viewed picture as files of the Common LUT Format, each from ACES2065-1 to ACES2065-1 (a look that ends on a display: to its
 * codes), as ACES Metadata Files name them: S-2019-001 has no place for the space that a look takes. The same text on every machine.
 */
import { createHash } from 'node:crypto';
import { clfText } from './clf-writer.ts';
import { colourFileSteps } from './file.ts';
import { diagonal } from './matrix.ts';
import { type ColourTransform, type Interpolation, matrixStep, type Step } from './steps.ts';
import {
  displaySpaces,
  type DisplaySpace,
  fromSpace,
  type LogSpace,
  type SceneSpace,
  toSpace,
} from './way.ts';

export interface WayFile {
  readonly text: string;
  /** Lower-case hex. */
  readonly sha256: string;
}

const file = (text: string): WayFile => ({ text, sha256: createHash('sha256').update(text).digest('hex') });

/** To twelve digits, so that the last bit of a machine's power function does not change the file. */
export const gainOf = (stops: number): number => Number((2 ** stops).toPrecision(12));

/** One matrix with the gain 2^stops in its diagonal: exact, where a CDL would limit or lift. */
export const exposureTransform = (stops: number): ColourTransform => ({
  steps: [matrixStep(diagonal([gainOf(stops), gainOf(stops), gainOf(stops)]))],
});
export const exposureFile = (stops: number): WayFile =>
  file(
    clfText(exposureTransform(stops), {
      id: `exposure_${stops}`,
      description: `Exposure: ${stops} stops, from ACES2065-1 to ACES2065-1`,
    }),
  );

export type Direction = 'to' | 'from';
const spaces = new Map<string, WayFile>();
export const spaceTransform = (space: LogSpace, direction: Direction): ColourTransform =>
  direction === 'to' ? toSpace(space) : fromSpace(space);
/** Of a space for which the registry of ACES has no identifier. */
export function spaceFile(space: LogSpace, direction: Direction): WayFile {
  const key = `${direction} ${space}`;
  const made =
    spaces.get(key) ??
    file(
      clfText(spaceTransform(space, direction), {
        id: `${direction}_${space}`,
        description: direction === 'to' ? `From ACES2065-1 to ${space}` : `From ${space} to ACES2065-1`,
        output: direction === 'to' ? space : 'ACES2065-1',
      }),
    );
  spaces.set(key, made);
  return made;
}

export interface LookSource {
  /** Its name, with the ending by which it is read. */
  readonly file: string;
  readonly bytes: Buffer;
  readonly from: SceneSpace;
  readonly to: SceneSpace | DisplaySpace;
  /** Of a .cube file; null: a .clf file says it itself. */
  readonly interpolation: Interpolation | null;
}

const isDisplay = (space: string): boolean => displaySpaces.some((one) => one === space);

/** The steps of the file alone. Throws FindingError `colour-file-refused`. */
export const stepsOfLook = ({ file: name, bytes, interpolation }: LookSource): Step[] =>
  colourFileSteps(name, bytes, interpolation ?? undefined);

/** From ACES2065-1 through the look to ACES2065-1, or to codes of the display that it ends on. Throws FindingError `colour-file-refused`. */
export const lookTransform = (look: LookSource): ColourTransform => ({
  steps: [
    ...toSpace(look.from).steps,
    ...stepsOfLook(look),
    ...(isDisplay(look.to) ? [] : fromSpace(look.to).steps),
  ],
});
export const lookFile = (look: LookSource): WayFile =>
  file(
    clfText(lookTransform(look), {
      id: 'look',
      description: `${look.file}, which takes ${look.from} and ends in ${look.to}, from ACES2065-1`,
      output: isDisplay(look.to) ? look.to : 'ACES2065-1',
    }),
  );
