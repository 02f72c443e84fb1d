/** The luma of a source as the matrix of the delivered pictures has it. Pure. */
import { CELLS, COLOUR_CELLS, COLOUR_WIDTH, type FrameFingerprints, GRID_WIDTH } from './form.ts';
import { type Basis, promisedLevels, rightConversion, weights } from './levels.ts';

/**
 * By frame: CELLS of luma of its first view, on the levels of the source, as the other matrix makes it of luma and chroma: a coloured part gets brighter or darker there, which
 * is no displacement. As it was where both matrices weigh alike, or nothing is known of colours. The chroma of a cell is that of the four around it.
 */
export function lumaByMatrix(
  { luma, colour, views }: FrameFingerprints,
  source: Basis,
  output: Basis,
): (frame: number) => Uint16Array {
  const ownLuma = (frame: number): Uint16Array =>
    luma.subarray(frame * views * CELLS, (frame * views + 1) * CELLS);
  if (colour === null || weighAlike(source, output)) return ownLuma;
  const convert = rightConversion(source, output);
  const { gain, offset } = promisedLevels(source, output);
  return (frame) =>
    ownLuma(frame).map((value, cell) => {
      const row = Math.floor(cell / GRID_WIDTH / 2);
      const column = Math.floor((cell % GRID_WIDTH) / 2);
      const at = 2 * frame * COLOUR_CELLS + row * COLOUR_WIDTH + column;
      const [delivered] = convert([value, colour[at] as number, colour[at + COLOUR_CELLS] as number]);
      return Math.max(0, Math.min(65535, Math.round((delivered - offset) / gain)));
    });
}

function weighAlike({ matrix: one }: Basis, { matrix: other }: Basis): boolean {
  return weights[one].red === weights[other].red && weights[one].blue === weights[other].blue;
}
