/**
 * What is burnt into a picture, as the outcome states it: an item is words for each frame, a place, and a look. Maker and checker both go by
 * this, and share nothing else.
 */
import { z } from 'zod';
import { ratioSchema, timecodeSchema } from '../../media/time/schema.ts';
import { rectangleSchema } from '../framing.ts';

const wordsSchema = z.discriminatedUnion('kind', [
  z.object({
    kind: z.literal('same').describe('The same in every frame'),
    text: z
      .string()
      .describe('As it is drawn: characters that the font does not have are written as escapes'),
  }),
  z.object({
    kind: z.literal('timecode').describe('The label of the frame'),
    start: timecodeSchema.describe('Of the first frame'),
  }),
  z.object({
    kind: z.literal('frame').describe('The number of the frame'),
    start: z.int().nonnegative().describe('Of the first frame'),
    each: z
      .union([z.literal(1), z.literal(2)])
      .describe('Frames that have the number: 2 where each field of a frame of the clip is one'),
    digits: z.int().positive().describe('Of every number, with zeros in front'),
  }),
]);
export type Words = z.infer<typeof wordsSchema>;

export const burntInSchema = z.object({
  text: z.string().describe('What of the clip it says, as in the profile; `watermark`'),
  from: z
    .string()
    .nullable()
    .describe('Where the words were read or who states them; null: `text` says it, or nobody does'),
  words: wordsSchema,
  letters: z
    .object({
      size: z.int().positive().describe('Pixels an em'),
      pitch: z.int().positive().describe('Pixels from a character to the next'),
      left: z.int().nonnegative().describe('Where the first one begins'),
      baseline: z.int().nonnegative().describe('Line of the picture below which only descenders lie'),
    })
    .describe('Where each character is, in pixels of the delivered picture'),
  box: rectangleSchema.describe('What is darkened behind the letters; even numbers'),
  look: z
    .object({
      letters: z.number().describe("Y' of the letters, in codes of 8 bits; Cb and Cr are neutral"),
      ground: z
        .number()
        .describe("Y' that the picture in the box is mixed with, in codes of 8 bits; neutral"),
      cover: ratioSchema.describe('How much of that there is in the mix'),
      opacity: ratioSchema.describe(
        'How much of the letters there is where they are; less than all of it: a watermark',
      ),
    })
    .describe('Codes of the delivered file, whatever its range'),
});
export type BurntIn = z.infer<typeof burntInSchema>;

/** Letters that the picture is seen through. */
export const isWatermark = ({ look: { opacity } }: Pick<BurntIn, 'look'>): boolean =>
  opacity.num < opacity.den;
