/** How the picture of a source lies in a delivered one, and which cells of the fingerprints' grid can therefore be compared. */
import { z } from 'zod';
import { CELLS, COLOUR_CELLS, COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from './form.ts';

/** In pixels of a picture. */
export const rectangleSchema = z.object({
  left: z.int().nonnegative(),
  top: z.int().nonnegative(),
  width: z.int().positive(),
  height: z.int().positive(),
});
export type Rectangle = z.infer<typeof rectangleSchema>;

export const framingSchema = z.object({
  /** What the whole upright picture was scaled to, pixels. */
  scaled: z.object({ width: z.int().positive(), height: z.int().positive() }),
  /** What was cut out of that and delivered. */
  window: rectangleSchema,
  /** Parts of the window that hold something else than the source's picture (burnt-in text), in its own pixels. */
  covered: z.array(rectangleSchema),
  inset: z
    .object({ left: z.int().nonnegative(), top: z.int().nonnegative() })
    .nullable()
    .describe(
      'Where the window lies in a delivered picture that is larger than it; around it is black. null: it is all of the delivered picture',
    ),
});
export type Framing = z.infer<typeof framingSchema>;

/** What cuts the window out of a delivered picture with black around it; `most`: no more than there is, of pictures whose size nobody has looked at yet. */
export function withoutBars({ window, inset }: Pick<Framing, 'window' | 'inset'>, most = false): string[] {
  if (inset === null) return [];
  const side = (size: number, all: string): string => (most ? `min(${size}\\,${all})` : String(size));
  return [
    `crop=w=${side(window.width, 'iw')}:h=${side(window.height, 'ih')}:x=${inset.left}:y=${inset.top}:exact=1`,
  ];
}

/** Parts of a delivered picture as parts of the window in it; what lies beside it is left out. */
export function inWindow(
  { window, inset }: Pick<Framing, 'window' | 'inset'>,
  parts: readonly Rectangle[],
): Rectangle[] {
  const { left, top } = inset ?? { left: 0, top: 0 };
  const within = (from: number, size: number, whole: number): [at: number, size: number] => {
    const at = Math.max(0, from);
    return [at, Math.min(whole, from + size) - at];
  };
  return parts.flatMap((part) => {
    const [x, width] = within(part.left - left, part.width, window.width);
    const [y, height] = within(part.top - top, part.height, window.height);
    return width > 0 && height > 0 ? [{ left: x, top: y, width, height }] : [];
  });
}

/** 1 for each cell that lies whole in the delivered window and is covered by nothing. */
export function cellsSeen({ scaled, window, covered }: Framing): Uint8Array {
  const seen = new Uint8Array(CELLS);
  for (let row = 0; row < GRID_HEIGHT; row += 1) {
    for (let column = 0; column < GRID_WIDTH; column += 1) {
      const left = (column * scaled.width) / GRID_WIDTH - window.left;
      const right = ((column + 1) * scaled.width) / GRID_WIDTH - window.left;
      const top = (row * scaled.height) / GRID_HEIGHT - window.top;
      const bottom = ((row + 1) * scaled.height) / GRID_HEIGHT - window.top;
      const inside = left >= 0 && top >= 0 && right <= window.width && bottom <= window.height;
      const hidden = covered.some(
        (part) =>
          left < part.left + part.width &&
          right > part.left &&
          top < part.top + part.height &&
          bottom > part.top,
      );
      if (inside && !hidden) seen[row * GRID_WIDTH + column] = 1;
    }
  }
  return seen;
}

/** The same for the grid of colour: a cell is seen when the four cells of luma below it are. */
export function colourCellsSeen(seen: Uint8Array): Uint8Array {
  const out = new Uint8Array(COLOUR_CELLS);
  for (let row = 0; row < COLOUR_HEIGHT; row += 1) {
    for (let column = 0; column < COLOUR_WIDTH; column += 1) {
      const at = 2 * row * GRID_WIDTH + 2 * column;
      if (
        seen[at] === 1 &&
        seen[at + 1] === 1 &&
        seen[at + GRID_WIDTH] === 1 &&
        seen[at + GRID_WIDTH + 1] === 1
      )
        out[row * COLOUR_WIDTH + column] = 1;
    }
  }
  return out;
}
