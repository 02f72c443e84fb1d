/** Stills of a clip: pictures of a few of its frames, to look at. What is asked for, and what must come out. */
import { z } from 'zod';
import { type Primaries, primaries } from '../../media/colour/h273.ts';
import { sitings } from '../../media/colour/siting.ts';
import { ranges, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { shownSchema } from '../shown/schema.ts';
import { MOST_STILLS } from './usual.ts';

const primariesNames = Object.keys(primaries) as [Primaries, ...Primaries[]];

/** What the settings or the command line ask for. */
export const stillsAskedSchema = z.object({
  count: z.int().min(0).max(MOST_STILLS).describe('How many of each clip; 0: none'),
  width: z.int().min(16).max(16_384).describe('Pixels at most'),
  bits: z.union([z.literal(8), z.literal(16)]).describe('Of a sample'),
});
export type StillsAsked = z.infer<typeof stillsAskedSchema>;

/** `for-display`, `as-recorded`: the recorded code values as a display of ITU-R BT.1886 shows them. */
export const stillsShow = ['shown', 'for-display', 'as-recorded'] as const;

const pixels = (what: string) => z.int().positive().describe(`${what}, pixels`);

export const stillsOutcomeSchema = z.object({
  shows: z
    .enum(stillsShow)
    .describe(
      'shown: the colour way of the settings, to a display of standard range; for-display: what was recorded for such a display; as-recorded: code values of which nobody says what they mean (a log picture is flat and grey), or that the settings leave as they were recorded',
    ),
  shown: shownSchema.nullable().describe('The colour way; null: recorded code values'),
  recorded: z
    .object({
      matrix: z.enum(ycbcrMatrices).nullable().describe("Of recorded Y'CbCr; null: R'G'B' or grey"),
      range: z.enum(ranges).describe('Of the recorded code values'),
      curve: z
        .enum(['bt1886', 'srgb'])
        .describe(
          'Of the display that is to show them; a still is coded for sRGB, so that of bt1886 they are converted',
        ),
      siting: z
        .enum(sitings)
        .nullable()
        .describe("Where chroma samples lie, ffprobe's name; null: chroma is not subsampled"),
    })
    .nullable()
    .describe('What recorded code values are taken for; null: they go a colour way'),
  primaries: z.enum(primariesNames).describe('Of the R, G, B of a still, by the names of ITU-T H.273'),
  source: z
    .object({ width: pixels('Of the upright picture'), height: pixels('Of the upright picture') })
    .describe('What is made smaller; of raw frames the picture as it is developed, one pixel for each 2x2'),
  reduce: z
    .object({
      left: z.int().nonnegative().describe('Columns that are left out on the left; a rest of the division'),
      top: z.int().nonnegative().describe('Lines that are left out at the top'),
      width: pixels('Of what is made smaller'),
      height: pixels('Of what is made smaller'),
    })
    .describe(
      'From the picture to the still, of which every pixel is the mean of as much of it as lies under that pixel; in parts of pixels where they are made square',
    ),
  width: pixels('Of a still'),
  height: pixels('Of a still'),
  fields: z
    .enum(['top-first', 'bottom-first'])
    .nullable()
    .describe('Of an interlaced clip, whose earlier field a still is made of; null: of whole frames'),
  bits: z.union([z.literal(8), z.literal(16)]).describe('Of a sample'),
  stills: z
    .array(
      z.object({
        frame: z.int().nonnegative().describe('Of the clip, counted from 0'),
        timecode: z.string().nullable().describe('Label of that frame; null: the clip has none'),
        file: z.string().describe('Name of the file'),
      }),
    )
    .min(1)
    .describe('In the order of the clip'),
});
export type StillsOutcome = z.infer<typeof stillsOutcomeSchema>;
