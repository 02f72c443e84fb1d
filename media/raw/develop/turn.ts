/** Pictures that lie on their side, upside down, or are mirrored (EXIF Orientation): by how much they are turned, and where a pixel of one lies. */
import { turnOfOrientation } from '../../upright.ts';

export const turns = [0, 90, 180, 270] as const;
/** Degrees clockwise that make a picture upright. */
export type Turn = (typeof turns)[number];

/** What is none of the eight orientations stands upright. */
export const turnOf = (orientation: number): Turn => turnOfOrientation(orientation)?.rotation ?? 0;
/** Left and right change places before it is turned. */
export const isMirrored = (orientation: number): boolean => turnOfOrientation(orientation)?.mirrored ?? false;

/** The size of a turned picture. */
export const turned = (
  { width, height }: { readonly width: number; readonly height: number },
  turn: Turn,
): { readonly width: number; readonly height: number } =>
  turn === 90 || turn === 270 ? { width: height, height: width } : { width, height };

/** Which pixel of the picture as it lies a pixel of the upright one is; `width` and `height` as it lies. */
export function beforeTurn(
  { x, y }: { readonly x: number; readonly y: number },
  { turn, mirrored }: { readonly turn: Turn; readonly mirrored: boolean },
  { width, height }: { readonly width: number; readonly height: number },
): { readonly x: number; readonly y: number } {
  const inMirror = ((): { x: number; y: number } => {
    if (turn === 90) return { x: y, y: height - 1 - x };
    if (turn === 180) return { x: width - 1 - x, y: height - 1 - y };
    return turn === 270 ? { x: width - 1 - y, y: x } : { x, y };
  })();
  return mirrored ? { x: width - 1 - inMirror.x, y: inMirror.y } : inMirror;
}
