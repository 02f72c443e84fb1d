/** How a clip's pictures are shown: the colour way from its code values to those of a display, as it is stated. */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import { outputTransformSchema, placedSchema } from '../../media/colour/output/schema.ts';
import { sitings } from '../../media/colour/siting.ts';
import { colourWaySchema } from '../../media/colour/way.ts';
import { ranges, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { linearisationSchema } from '../master/linearisation.ts';

/** Displays that pictures of movies are made for. */
export const shownDisplays = ['bt1886-bt709', 'pq-bt2020', 'hlg-bt2020'] as const;
export type ShownDisplay = (typeof shownDisplays)[number];

const common = {
  way: colourWaySchema.describe('What is done to scene-linear values'),
  display: z.enum(shownDisplays).describe('For which the pictures are made'),
  output: z
    .union([outputTransformSchema, placedSchema])
    .nullable()
    .describe(
      'From scene-linear AP0 to code values of the display; or pictures of standard range, placed in a signal of high range as they are; null: the look ends on the display',
    ),
};

export const shownSchema = z.discriminatedUnion('from', [
  z.object({
    from: z.literal('recorded').describe("R'G'B' of recorded Y'CbCr, all of them through one table"),
    matrix: z.enum(ycbcrMatrices).describe("Of the recorded Y'CbCr"),
    range: z.enum(ranges).describe('Of the recorded code values'),
    siting: z
      .enum(sitings)
      .nullable()
      .describe("Where chroma samples lie, ffprobe's name; null: chroma is not subsampled"),
    input: inputTransformSchema.describe("What the recorded R'G'B' mean: from them to scene-linear AP0"),
    ...common,
  }),
  z.object({
    from: z
      .literal('developed')
      .describe(
        "Frames that are taken to scene-linear values one by one, and then as R'G'B' of ACEScct through a table",
      ),
    linearisation: linearisationSchema.describe('From their code values to scene-linear AP0'),
    size: z
      .object({ width: z.int().positive().describe('Pixels'), height: z.int().positive().describe('Pixels') })
      .describe('Of the developed pictures'),
    ...common,
  }),
]);
export type Shown = z.infer<typeof shownSchema>;
export type ShownRecorded = Extract<Shown, { from: 'recorded' }>;
export type ShownDeveloped = Extract<Shown, { from: 'developed' }>;
