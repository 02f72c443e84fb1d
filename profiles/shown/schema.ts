/** How a clip's pictures are shown: the colour way from its code values to those of a display, as it is stated. */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { outputTransformSchema } from '../../media/colour/output/schema.ts';
import { sitings } from '../../media/colour/siting.ts';
import { colourWaySchema } from '../../media/colour/way.ts';
import { ranges, ycbcrMatrices } from '../../media/colour/ycbcr.ts';

/** Displays that pictures of movies are made for. */
export const shownDisplays = ['bt709-bt1886'] as const;
export type ShownDisplay = (typeof shownDisplays)[number];

export const shownSchema = z.object({
  matrix: z.enum(ycbcrMatrices).describe("Of the recorded Y'CbCr, by which R'G'B' are made of it"),
  range: z.enum(ranges).describe('Of the recorded code values'),
  siting: z
    .enum(sitings)
    .nullable()
    .describe("Where chroma samples lie, ffprobe's name; null: chroma is not subsampled"),
  input: inputTransformSchema.describe("What the recorded R'G'B' mean: from them to scene-linear AP0"),
  way: colourWaySchema.describe('What is done to scene-linear values'),
  display: z.enum(shownDisplays).describe('For which the pictures are made'),
  output: outputTransformSchema
    .nullable()
    .describe('From scene-linear AP0 to code values of the display; null: the look ends on the display'),
});
export type Shown = z.infer<typeof shownSchema>;
