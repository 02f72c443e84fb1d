/** A clip and where its bytes lie in the roll. */
import { z } from 'zod';
import { besideSchema } from '../media/facts.ts';

/** Paths are relative to the roll, `/` between parts; bytes that are not UTF-8 are kept (see files/names.ts). */
const clipPlaceSchema = z.discriminatedUnion('kind', [
  z.object({
    kind: z.literal('movie').describe('movie: one file; spanned: several; sequence: numbered frames'),
    file: z.string().describe('The file, relative to the roll, / between parts'),
  }),
  z.object({
    kind: z.literal('spanned').describe('spanned: one recording in several movies'),
    parts: z
      .array(
        z.object({
          file: z.string().describe('The file, relative to the roll, / between parts'),
          bytes: z.int().nonnegative().describe('Its size'),
          checksum: z.string().describe('As intake read it: algorithm, colon, checksum'),
        }),
      )
      .min(2)
      .describe('In the order in which they were recorded'),
    namedBy: z
      .string()
      .describe('By which rule the names belong together: `suffix`, a pattern, or `settings`'),
    continuesBy: z
      .enum(['timecode', 'order'])
      .describe('What must run on from part to part: timecode; or the order of the names alone'),
  }),
  z.object({
    kind: z.literal('sequence').describe('movie: one file; sequence: numbered frames'),
    folder: z.string().describe('Folder relative to the roll, `` for the roll itself'),
    prefix: z.string().describe('File name before the number'),
    suffix: z.string().describe('File name after the number, with the extension'),
    padding: z
      .int()
      .nonnegative()
      .describe('Digits of the zero-padded number; 0 when numbers are not padded'),
    first: z.int().nonnegative().describe('Number of the first frame'),
    count: z.int().positive().describe('How many frames, without a gap'),
    statedRate: z
      .object({ num: z.int().positive(), den: z.int().positive() })
      .nullable()
      .describe('Frames a second, as the user stated it; null: the frames say it'),
    sound: besideSchema
      .optional()
      .describe('The sound file that was recorded with these frames; absent: there is none'),
  }),
]);
export type ClipPlace = z.infer<typeof clipPlaceSchema>;

const frameNumber = (number: number, padding: number): string => String(number).padStart(padding, '0');

/** Its files, relative to the roll, in order; behind frames the sound file beside them. */
export function filesOfPlace(place: ClipPlace): string[] {
  if (place.kind === 'movie') return [place.file];
  if (place.kind === 'spanned') return place.parts.map(({ file }) => file);
  const folder = place.folder === '' ? '' : `${place.folder}/`;
  const frames = Array.from(
    { length: place.count },
    (_, index) => `${folder}${place.prefix}${frameNumber(place.first + index, place.padding)}${place.suffix}`,
  );
  return place.sound === undefined ? frames : [...frames, place.sound.file];
}

/** Frames [start, start + frames) of a clip, counted from 0. */
export const stretchSchema = z.object({
  start: z.int().nonnegative().describe('The first, counted from 0 in the clip'),
  frames: z.int().positive().describe('How many'),
});
export type Stretch = z.infer<typeof stretchSchema>;

export const clipSchema = z.object({
  id: z.string().describe('Unique in the roll, safe as a file name: names reports and deliverables'),
  name: z.string().describe('As the camera named it, for people'),
  place: clipPlaceSchema.describe('Where it lies in the roll'),
  bytes: z.int().nonnegative().describe('Size of all of its files, bytes'),
  contentDigest: z
    .string()
    .describe(
      "SHA-256 over the sorted list of (path, size, checksum) of the clip's files as intake read them: same content, same digest",
    ),
  stretch: stretchSchema
    .extend({
      day: z.string().describe('Name of the shoot day, by which names are made as of the whole clip'),
    })
    .optional()
    .describe('Of a pull: which frames of the clip are made; absent: all of them'),
});
export type Clip = z.infer<typeof clipSchema>;
