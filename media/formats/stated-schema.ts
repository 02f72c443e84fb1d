/** The form of what a clip says beside its pictures (stated.ts), as records have it. */
import { z } from 'zod';

/** OpenEXR's names of the types of its values. */
export const statedTypes = [
  'double',
  'float',
  'int',
  'keycode',
  'm33f',
  'm44f',
  'rational',
  'string',
  'stringvector',
  'v2f',
  'v2i',
  'v3f',
  'v3i',
] as const;

/** A rational is its two terms, a matrix its rows; `infinity` is a float, of a lens that is focused there. */
export const statedValueSchema = z.union([z.number(), z.string(), z.array(z.number()), z.array(z.string())]);
export type StatedValue = z.infer<typeof statedValueSchema>;

export const statedSchema = z.object({
  attributes: z
    .array(
      z.object({
        name: z.string().describe("OpenEXR's name, or the source's own"),
        type: z.enum(statedTypes).describe("OpenEXR's name of the type"),
        from: z.string().describe('What the source calls it'),
        values: z
          .array(
            z.object({
              frame: z.int().nonnegative().describe('Counted from 0'),
              value: statedValueSchema.nullable().describe('null: not said from this frame on'),
            }),
          )
          .describe('From this frame on, until the next'),
      }),
    )
    .describe('By name'),
  left: z
    .array(
      z.object({
        name: z.string().describe('What the source calls it'),
        why: z.string().describe('Why it has no place in a master'),
      }),
    )
    .describe('What the source says besides'),
});
export type Stated = z.infer<typeof statedSchema>;
export type ClipAttribute = Stated['attributes'][number];
export type LeftOut = Stated['left'][number];
