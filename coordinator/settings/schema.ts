/**
 * The settings of a show: what nobody can measure of its clips, and what is to be made of them. One YAML file for the night.
 * Four levels say the same fields: show, camera, roll, clip. Of each field the nearest level that states it counts (levels.ts).
 */
import { z } from 'zod';
import { inputTransformSchema } from '../../media/colour/input.ts';
import type { WayCdl, WayLook } from '../../media/colour/way.ts';
import { cdlsSettingSchema, lookFields } from './look-schema.ts';
import type { CdlList } from './match-cdls.ts';
import { frameLineSchema } from './frame-line.ts';
import { spannedSchema } from './spanned-schema.ts';
import { stillsAskedSchema } from '../../profiles/stills/schema.ts';
import { rawSettingsSchema } from './raw-schema.ts';
import { timeFields } from './time-schema.ts';
import { masterTurns } from '../plan/waves.ts';
import { hourOf } from '../forecast/due.ts';

/** Whether this system knows the time zone, by its name in the IANA Time Zone Database. */
export function isTimeZone(name: string): boolean {
  try {
    new Intl.DateTimeFormat('en', { timeZone: name });
    // An offset such as +02:00 is taken by some engines; it is no zone, since it knows no summer time.
    return /^[A-Za-z]/.test(name);
  } catch {
    return false;
  }
}

/** Where a burnt-in camera comes from. */
export const cameraTexts = ['name', 'model', 'serial', 'roll'] as const;
export type CameraText = (typeof cameraTexts)[number];

/** What every level can say. */
const part = z.strictObject({
  profiles: z
    .array(z.string().min(1).max(500))
    .min(1)
    .max(50)
    .optional()
    .describe(
      'Profiles that are made: names of built-in ones, or .yaml files as seen from this file. A nearer list replaces a farther one whole',
    ),
  input: inputTransformSchema
    .optional()
    .describe(
      'What the code values of movies and of DPX, TIFF and EXR frames mean: a named transform, a log curve with primaries, or a .cube or .clf file',
    ),
  raw: rawSettingsSchema
    .optional()
    .describe('Development of raw frames; each of its fields counts by itself'),
  spanned: spannedSchema.optional(),
  frame_line: frameLineSchema.optional(),
  ...timeFields,
  ...lookFields,
  burn_in: z
    .strictObject({
      camera: z
        .enum(cameraTexts)
        .optional()
        .describe(
          'What text in the picture calls the camera. name: as `cameras` here names it. model: maker and model as the files of the clip say them. serial: its number as the files say it. roll: the letters that the name of the roll begins with, A for A001. Absent: its name, or, of a clip of no camera here, its model',
        ),
      watermark: z
        .string()
        .min(1)
        .max(80)
        .optional()
        .describe(
          'Words of the watermark, of profiles that have `watermark: { words: null }`: whom the pictures are for',
        ),
    })
    .optional()
    .describe('What text in the picture says that profiles ask for; each of its fields counts by itself'),
  stills: z
    .strictObject(stillsAskedSchema.shape)
    .partial()
    .optional()
    .describe(
      'Pictures of a few frames of each clip, to look at, beside the reports: how many (4 when it is not said; 0: none), how wide at most (960 pixels), and their bits (8). Each of its fields counts by itself',
    ),
  owner: z.string().max(200).optional().describe('Owner of the pictures, in the header of every frame'),
  comments: z.string().max(1000).optional().describe('Free text, in the header of every frame'),
});

const said = z.string().min(1).max(200);
const knownBySchema = z
  .strictObject({
    rolls: z
      .array(z.string().min(1).max(100))
      .min(1)
      .max(50)
      .optional()
      .describe(
        'Names of its rolls, one of these; `*` any characters, `?` one, `#` one digit: A### for A001',
      ),
    make: said.optional().describe('Maker, as the files of the clip say it'),
    model: said.optional().describe('Model, as the files say it'),
    serial: said.optional().describe('Serial number, as the files say it'),
  })
  .refine((known) => Object.values(known).some((value) => value !== undefined), {
    message: 'rolls, make, model or serial',
  });

const cameraSchema = part.extend({
  name: z
    .string()
    .regex(/^[^\s/](?:[^/\n]{0,61}[^\s/])?$/)
    .describe('What the camera is called in reports; each has a name of its own'),
  known_by: knownBySchema.describe(
    'By what its clips are known: all that is stated here must be so. Capitals and small letters are the same',
  ),
});

const readyBy = z
  .string()
  .refine((text) => hourOf(text) !== null, { message: 'an hour of the day, as 06:00' })
  .optional()
  .describe(
    'When it is due, as an hour of the day in the time zone of the show: rolls that are due earlier are read and made first, and plan and run say whether they will be ready. A nearer one counts; --by counts before both',
  );

const showSchema = part.extend({
  ready_by: readyBy,
  masters: z
    .enum(masterTurns)
    .optional()
    .describe(
      'When masters are made. with (when it is not said): with the proxies of their clip, all of one decode. after: when the proxies of all rolls are made; a clip of which both are due is then decoded twice, and `plan` says what that costs',
    ),
  cdls: cdlsSettingSchema
    .optional()
    .describe('CDLs of many clips, matched by name of the clip, reel and timecode'),
  time_zone: z
    .string()
    .refine(isTimeZone, { message: 'a name of the IANA Time Zone Database, as Europe/Berlin' })
    .optional()
    .describe(
      'Where the show is shot, by its name in the IANA Time Zone Database: in which times are shown to people, with the day of the week, and of which the dates of sources are that do not say theirs. Records are in UTC',
    ),
});

const rollSchema = part.extend({
  ready_by: readyBy,
  clips: z
    .record(z.string().min(1), part)
    .optional()
    .describe('By the name of the clip, for one that differs from its roll'),
});

export const settingsSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  show: showSchema.optional().describe('For every clip'),
  cameras: z.array(cameraSchema).max(100).optional().describe('For the clips of a camera'),
  rolls: z.record(z.string().min(1), rollSchema).optional().describe('By the name of the roll'),
  decoders: z
    .array(z.string().min(1))
    .max(20)
    .optional()
    .describe('Files that declare decoders (docs/decoders.md), as seen from this file'),
});

/** As people write it; looks and CDLs in files are read in resolve-looks.ts. */
export type WrittenSettings = z.infer<typeof settingsSchema>;
export type WrittenPart = z.infer<typeof part>;
/** With what the files hold that it names: none of them is read again. */
export interface ReadLooks {
  readonly cdl?: WayCdl | 'none';
  readonly look?: WayLook | 'none';
}
export type WithLooks<Part> = Omit<Part, 'cdl' | 'look'> & ReadLooks;
export type SettingsPart = WithLooks<WrittenPart>;
export type SettingsCamera = WithLooks<z.infer<typeof cameraSchema>>;
export type SettingsShow = WithLooks<Omit<z.infer<typeof showSchema>, 'cdls'>> & {
  readonly cdls?: CdlList;
};
export type SettingsRoll = WithLooks<Omit<z.infer<typeof rollSchema>, 'clips'>> & {
  readonly clips?: Readonly<Record<string, SettingsPart>>;
};
export type SettingsFile = Omit<WrittenSettings, 'show' | 'cameras' | 'rolls'> & {
  readonly show?: SettingsShow;
  readonly cameras?: readonly SettingsCamera[];
  readonly rolls?: Readonly<Record<string, SettingsRoll>>;
};
