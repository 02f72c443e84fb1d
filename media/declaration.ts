/**
 * A declared decoder: a file that says which clips a program takes, how it is called, what it writes, and how it tells what a clip
 * is. Every field is described here, once; docs/decoders.md is made from these descriptions.
 */
import { z } from 'zod';

/** What a program writes for each pixel. `cfa…`: one sensor value; `rgb…`: three values, red first. */
export const sampleForms = ['cfa16le', 'cfa16be', 'rgb48le', 'rgb48be', 'rgbf32le', 'rgbf32be'] as const;
export type SampleForm = (typeof sampleForms)[number];
/** Bytes of one pixel. */
export const PIXEL_BYTES: Readonly<Record<SampleForm, number>> = {
  cfa16le: 2,
  cfa16be: 2,
  rgb48le: 6,
  rgb48be: 6,
  rgbf32le: 12,
  rgbf32be: 12,
};

/** What an argument may hold in braces. */
export const placeholders = ['{file}', '{frame}', '{folder}'] as const;

const command = z.array(z.string('text; a number stands in quotes').min(1).max(4096)).min(1).max(200);
const place = z.string().min(1).max(500);

export const declaredDecoderSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  name: z
    .string()
    .regex(
      /^[a-z0-9][a-z0-9-]{0,62}$/,
      'small letters, digits and hyphens, at most 63, not starting with a hyphen',
    )
    .describe('What the decoder is called in settings and reports: the name of the file without .yaml'),
  summary: z.string().min(1).max(200).describe('One line for people'),
  takes: z
    .strictObject({
      clips: z
        .enum(['movie', 'frames'])
        .describe('movie: one file holds the whole clip; frames: one file holds one frame'),
      names: z
        .array(z.string().min(1).max(200))
        .min(1)
        .max(50)
        .describe(
          'Patterns of file names: * stands for any characters, ? for one; small and capital letters are alike',
        ),
      in_place: z
        .boolean()
        .default(false)
        .describe(
          'false: {file} is a link in a private folder, so that nothing can be written beside the source; true: the path in the roll, for programs that look for further files beside it',
        ),
    })
    .describe('Which clips the decoder is for'),
  command: command.describe(
    'The program and its arguments, which write the pictures to standard output. Each argument is passed as it stands; no shell reads it. {file}: absolute path of the movie or frame; {frame}: number of the frame, from 0 in a movie (then the command is run for each frame), as in its name otherwise; {folder}: an empty folder of its own, removed afterwards',
  ),
  gives: z
    .strictObject({
      samples: z
        .enum(sampleForms)
        .describe(
          'What stands for each pixel, row by row from the top: cfa16: one sensor value as stored in the file, before any table; rgb48: three whole numbers of 16 bits; rgbf32: three floats; le, be: low or high byte first. cfa16 is for DNG frames, whose tags say what the values mean',
        ),
      around: z
        .enum(['nothing', 'netpbm'])
        .default('nothing')
        .describe(
          'nothing: samples alone, frame after frame; netpbm: each frame is a PGM (cfa16be) or PPM (rgb48be) of 16 bits with its own head',
        ),
      width: z
        .int()
        .min(1)
        .max(65_536)
        .nullable()
        .default(null)
        .describe("Pixels; null: a DNG's own tags, the head of each picture, or `probe` says it"),
      height: z.int().min(1).max(65_536).nullable().default(null).describe('Pixels; null: as for the width'),
      full: z
        .int()
        .min(1)
        .max(65_535)
        .default(65_535)
        .describe('The whole number that stands for 1.0 in rgb48; other forms take no notice'),
    })
    .describe(
      'What the command writes. Exactly so many bytes are expected, and one more or less holds the clip',
    ),
  probe: z
    .strictObject({
      command: command.describe(
        'The program and its arguments, which describe the clip on standard output; placeholders as above, without {frame}',
      ),
      format: z
        .enum(['json', 'text'])
        .describe(
          'json: each value is found by a JSON pointer (RFC 6901: /streams/0/width); text: by a regular expression with one group, the first match counts',
        ),
      frames: place
        .nullable()
        .default(null)
        .describe('Where the number of frames is found; a movie needs it'),
      rate: place
        .nullable()
        .default(null)
        .describe('Where the rate is found: 24000/1001, 25 or 23.976; null: you state it'),
      width: place.nullable().default(null).describe('Where the width is found'),
      height: place.nullable().default(null).describe('Where the height is found'),
      timecode: place
        .nullable()
        .default(null)
        .describe(
          'Where the start timecode is found: 01:00:00:00, with ; before the frames when labels drop',
        ),
      reel: place.nullable().default(null).describe('Where the reel name is found'),
    })
    .nullable()
    .default(null)
    .describe('How the clip is described; null: a frame says all that is needed'),
  patience_seconds: z
    .int()
    .min(1)
    .max(3600)
    .default(300)
    .describe('Silence of the program for this long ends it'),
});
export type DeclaredDecoder = z.infer<typeof declaredDecoderSchema>;

/** A declared decoder as a clip's facts carry it to other machines, which have to find its programs themselves. */
export const declarationSchema = z.object({
  declared: declaredDecoderSchema,
  /** Absolute path of the file that declares it; programs with a `/` in their names are sought from its folder. */
  origin: z.string(),
  /** As LoadedDecoder has it, on the machine that surveyed the clip. */
  version: z.string(),
});
export type Declaration = z.infer<typeof declarationSchema>;

export function isCfa(form: SampleForm): form is 'cfa16le' | 'cfa16be' {
  return form.startsWith('cfa');
}
