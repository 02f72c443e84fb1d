/** Pictures that lie on their side, or upside down (EXIF Orientation): by how much they are turned, and where a pixel of one lies. */

export const turns = [0, 90, 180, 270] as const;
/** Degrees clockwise that make a picture upright. */
export type Turn = (typeof turns)[number];

const OF_ORIENTATION: Readonly<Record<number, Turn>> = { 1: 0, 3: 180, 6: 90, 8: 270 };

/** Null: the picture is mirrored. */
export const turnOf = (orientation: number): Turn | null => OF_ORIENTATION[orientation] ?? null;

/** The size of a turned picture. */
export const turned = (
  { width, height }: { readonly width: number; readonly height: number },
  turn: Turn,
): { readonly width: number; readonly height: number } =>
  turn === 90 || turn === 270 ? { width: height, height: width } : { width, height };

/** Which pixel of the picture as it lies a pixel of the upright one is; `width` and `height` as it lies. */
export function beforeTurn(
  { x, y }: { readonly x: number; readonly y: number },
  turn: Turn,
  { width, height }: { readonly width: number; readonly height: number },
): { readonly x: number; readonly y: number } {
  if (turn === 90) return { x: y, y: height - 1 - x };
  if (turn === 180) return { x: width - 1 - x, y: height - 1 - y };
  return turn === 270 ? { x: width - 1 - y, y: x } : { x, y };
}
