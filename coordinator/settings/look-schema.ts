/** What settings say of how pictures are to look, as people write it (media/colour/way.ts is what becomes of it). Nothing else of the settings is here. */
import { z } from 'zod';
import { interpolations } from '../../media/colour/steps.ts';
import { displaySpaces, linearSpaces, logSpaces, outputChoices } from '../../media/colour/way.ts';

const finite = z.number().refine(Number.isFinite, 'a number');
const least0 = finite.refine((value) => value >= 0, '0 or more (ASC CDL)');
const above0 = finite.refine((value) => value > 0, 'more than 0 (ASC CDL)');
const off = z.literal('none').describe('None, whatever a farther level says');
/** Numbers of a list that states fewer. */
export const plainCdl = { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 1 } as const;
const NUMBERS = ['slope', 'offset', 'power', 'saturation'] as const;

const space = z
  .enum(logSpaces)
  .optional()
  .describe(
    'Log space in which it is applied: that of the room where it was made; acescct when it is not said',
  );

export const cdlSettingSchema = z.union([
  off,
  z
    .strictObject({
      slope: z.tuple([least0, least0, least0]).optional().describe('Red, green, blue; 0 or more'),
      offset: z.tuple([finite, finite, finite]).optional().describe('Red, green, blue; of full scale'),
      power: z.tuple([above0, above0, above0]).optional().describe('Red, green, blue; above 0'),
      saturation: least0.optional().describe('0 or more; 1: as it is'),
      file: z
        .string()
        .regex(/\.(?:cdl|cc|ccc)$/i, 'a .cdl, .cc or .ccc file')
        .optional()
        .describe('A .cdl, .cc or .ccc file, as seen from this file, in the place of numbers'),
      id: z
        .string()
        .min(1)
        .max(200)
        .optional()
        .describe('Id of the correction in the file, where it has several'),
      space,
    })
    .superRefine((value, context) => {
      const stated = NUMBERS.filter((name) => value[name] !== undefined);
      const say = (path: string[], message: string): void =>
        context.addIssue({ code: 'custom', path, message });
      if (value.file === undefined && stated.length === 0)
        say([], 'slope, offset, power or saturation, or a file');
      if (value.file !== undefined && stated[0] !== undefined)
        say([stated[0]], 'a file or numbers, not both');
      if (value.file === undefined && value.id !== undefined) say(['id'], 'an id with a file alone');
    }),
]);

export const lookSettingSchema = z.union([
  off,
  z
    .strictObject({
      file: z
        .string()
        .regex(/\.(?:cube|clf)$/i, 'a .cube or .clf file')
        .describe('A .cube or .clf file, as seen from this file'),
      from: z
        .enum([...logSpaces, ...linearSpaces])
        .describe('The space that it takes. A .cube file takes a log one'),
      to: z
        .enum([...logSpaces, ...linearSpaces, ...displaySpaces])
        .describe('The space that it ends in. One of a display: it takes the place of the output transform'),
      interpolation: z
        .enum(interpolations)
        .optional()
        .describe('Of a .cube file, between the places of its 3D table; tetrahedral when it is not said'),
    })
    .superRefine(({ file, from, interpolation }, context) => {
      const isCube = /\.cube$/i.test(file);
      if (!isCube && interpolation !== undefined)
        context.addIssue({
          code: 'custom',
          path: ['interpolation'],
          message: 'a .clf file says itself how it is read between its places',
        });
      if (isCube && linearSpaces.some((one) => one === from))
        context.addIssue({
          code: 'custom',
          path: ['from'],
          message: `a .cube file takes a log space (${logSpaces.join(', ')}): its table has no places for linear values; linear ones need a .clf file`,
        });
    }),
]);

/** Of every level. */
export const lookFields = {
  exposure: z
    .number()
    .min(-10)
    .max(10)
    .optional()
    .describe(
      'Stops, for viewing: a gain of scene-linear values before all looks. Masters are not changed by it (`raw.exposure_stops` is what they are developed with)',
    ),
  gamut_compression: z
    .boolean()
    .optional()
    .describe('Reference gamut compression of ACES, behind the exposure and before all other looks'),
  cdl: cdlSettingSchema.optional().describe('ASC CDL, for viewing: numbers, or a file'),
  look: lookSettingSchema.optional().describe('A LUT, for viewing, behind the CDL'),
  output: z
    .enum(outputChoices)
    .optional()
    .describe(
      'aces-2, aces-1: output transform of that version of ACES, aces-2 when it is not said. as-recorded: pictures are shown as they were recorded, with no look',
    ),
};

/** Of the show alone. */
export const cdlsSettingSchema = z.strictObject({
  path: z
    .string()
    .min(1)
    .describe(
      'A folder, or a .cdl, .cc, .ccc or .edl file, as seen from this file; its CDLs are matched to clips',
    ),
  space,
});
