/**
 * The way to the picture that people look at: what is done to scene-linear values, in this order, for pictures to view. Exposure, gamut
 * compression, CDL, look, output transform. Masters bake none of it; their ACES Metadata File says it.
 */
import { z } from 'zod';
import { cdlSchema } from './cdl.ts';
import { type InputName, transformOf, transformTo } from './input.ts';
import { type ColourTransform, interpolations } from './steps.ts';

/** Spaces of the scene with a curve in which equal steps are about equal stops. `logc3-awg3`: of the exposure index 800. */
export const logSpaces = [
  'acescct',
  'acescc',
  'slog2-sgamut',
  'slog3-sgamut3cine',
  'slog3-sgamut3',
  'logc3-awg3',
  'logc4-awg4',
  'vlog-vgamut',
  'log3g10-rwg',
  'redlogfilm-rwg',
  'flog-fgamut',
  'flog2-fgamut',
  'nlog-ngamut',
  'dlog-dgamut',
] as const;
export type LogSpace = (typeof logSpaces)[number];
export const linearSpaces = [
  'aces2065-1',
  'acescg',
  'linear-bt709',
  'linear-bt2020',
  'linear-p3d65',
] as const;
/** Code values of a display. */
export const displaySpaces = [
  'bt1886-bt709',
  'bt1886-bt2020',
  'srgb',
  'pq-bt2020',
  'pq-p3d65',
  'hlg-bt2020',
] as const;
export type DisplaySpace = (typeof displaySpaces)[number];
export const sceneSpaces = [...logSpaces, ...linearSpaces] as const;
export type SceneSpace = (typeof sceneSpaces)[number];

export const outputChoices = ['aces-2', 'aces-1', 'as-recorded'] as const;
export type OutputChoice = (typeof outputChoices)[number];

/** The exposure index of `logc3-awg3`, where it is the space of a show: that of which Academy and makers publish the transform without naming one. */
const LOGC3_INDEX = 800;
type NamedSpace = { readonly name: InputName; readonly ei?: typeof LOGC3_INDEX };
/** The space as an input transform names it. */
export const inputOfSpace = (name: SceneSpace | DisplaySpace): NamedSpace =>
  name === 'logc3-awg3' ? { name, ei: LOGC3_INDEX } : { name };
/** Linear AP0 to values of the space, and back. */
export const toSpace = (space: SceneSpace | DisplaySpace): ColourTransform =>
  transformTo(inputOfSpace(space));
export const fromSpace = (space: SceneSpace | DisplaySpace): ColourTransform =>
  transformOf(inputOfSpace(space));

const sha256 = z.string().regex(/^[0-9a-f]{64}$/, 'must be 64 lower-case hex digits');

export const wayLookSchema = z.strictObject({
  file: z
    .string()
    .regex(/\.(?:cube|clf)$/i, 'must be a .cube or a .clf file')
    .describe('Its name, without folders; it is kept beside the reports by its SHA-256'),
  sha256: sha256.describe('Of its bytes'),
  from: z.enum(sceneSpaces).describe('The space that it takes'),
  to: z
    .enum([...sceneSpaces, ...displaySpaces])
    .describe('The space that it ends in; one of a display: it takes the place of the output transform'),
  interpolation: z
    .enum(interpolations)
    .nullable()
    .describe('Between the places of a 3D table of a .cube file; null: of a .clf file, which says it'),
  aces: sha256.describe(
    'SHA-256 of the same look as a file of the Common LUT Format that takes ACES2065-1, and ends in ACES2065-1 or on the display; kept beside the reports',
  ),
});
export type WayLook = z.infer<typeof wayLookSchema>;

export const wayCdlSchema = z.strictObject({
  values: cdlSchema.describe('Slope, offset and power of red, green and blue; saturation'),
  space: z.enum(logSpaces).describe('In which it is applied'),
  from: z
    .strictObject({
      file: z.string().describe('Its name, without folders'),
      sha256: sha256.describe('Of its bytes'),
      id: z.string().nullable().describe('Of the correction in it; null: it has none'),
    })
    .nullable()
    .describe('The file that it was read from; null: the settings state its numbers'),
});
export type WayCdl = z.infer<typeof wayCdlSchema>;

export const colourWaySchema = z.strictObject({
  exposure: z
    .number()
    .min(-10)
    .max(10)
    .describe('Stops: the gain 2^exposure of scene-linear values, before all looks'),
  gamutCompression: z
    .boolean()
    .describe('Reference gamut compression of ACES, behind exposure and before the CDL'),
  cdl: wayCdlSchema.nullable().describe('null: none'),
  look: wayLookSchema.nullable().describe('null: none'),
  output: z
    .enum(outputChoices)
    .describe(
      'Output transform of this version of ACES, unless the look ends on a display; as-recorded: pictures are shown as they were recorded, and nothing above is done',
    ),
});
export type ColourWay = z.infer<typeof colourWaySchema>;

/** Where nobody states anything. */
export const usualWay: ColourWay = {
  exposure: 0,
  gamutCompression: false,
  cdl: null,
  look: null,
  output: 'aces-2',
};

export const endsOnDisplay = (look: WayLook | null): boolean =>
  look !== null && displaySpaces.some((space) => space === look.to);

/** Whether anything is done to scene-linear values before the output transform. */
export const changesPictures = ({ exposure, gamutCompression, cdl, look }: ColourWay): boolean =>
  exposure !== 0 || gamutCompression || cdl !== null || look !== null;
