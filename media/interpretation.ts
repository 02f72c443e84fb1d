/** How a clip's values are to be understood: what nobody can measure, said by the night's settings or by unambiguous tags. */
import { z } from 'zod';
import { inputTransformSchema } from './colour/input.ts';

export const inputOrigins = ['tags', 'show', 'camera', 'roll', 'clip'] as const;

export const whiteBalanceSchema = z.union([
  z.literal('as-shot').describe('As the camera recorded it'),
  z.strictObject({
    neutral: z
      .tuple([z.number().positive(), z.number().positive(), z.number().positive()])
      .describe('Camera values of a grey card'),
  }),
  z
    .strictObject({ x: z.number().min(0.2).max(0.6), y: z.number().min(0.2).max(0.6) })
    .describe('CIE 1931 chromaticity of the light'),
  z.strictObject({
    kelvin: z.number().min(1700).max(25_000).describe('Correlated colour temperature'),
    tint: z.number().min(-150).max(150).default(0).describe('Away from the locus; 0: on it'),
  }),
]);

/** Which level of the sensor is which light of the scene (raw/develop/anchor.ts). */
export const anchors = ['sensor', 'metered'] as const;
export type Anchor = (typeof anchors)[number];

export const correctionChoices = ['apply', 'leave'] as const;
/** apply: corrections that raw frames ask for are made (raw/corrections). leave: none is, and each is reported. */
export type CorrectionChoice = (typeof correctionChoices)[number];

export const interpretationSchema = z.object({
  /** null: nobody says, and the tags do not either. */
  input: inputTransformSchema.nullable(),
  inputFrom: z.enum(inputOrigins).nullable(),
  raw: z.object({
    whiteBalance: whiteBalanceSchema,
    exposureStops: z.number(),
    anchor: z.enum(anchors),
    /** Absent: apply. */
    corrections: z.enum(correctionChoices).optional(),
  }),
  /** Of the show, by its name in the IANA Time Zone Database; absent: nobody states one. */
  timeZone: z.string().optional(),
  owner: z.string(),
  comments: z.string(),
});
export type Interpretation = z.infer<typeof interpretationSchema>;
