/**
 * Source facts: what was measured of a clip by reading it, before any work. `null` means looked for and not known;
 * proven values (counted packets) and claims (what a header says) stay in separate fields.
 */
import { z } from 'zod';
import { colourTagsSchema } from './colour/tags.ts';
import { colourWaySchema } from './colour/way.ts';
import { interpretationSchema } from './interpretation.ts';
import { declarationSchema } from './declaration.ts';
import { rawFactsSchema } from './raw-facts.ts';
import { statedSchema } from './formats/stated-schema.ts';
import { ratioSchema, timecodeSchema } from './time/schema.ts';
import { timingSchema } from './time/timing.ts';

export const fieldOrders = ['progressive', 'top-first', 'bottom-first', 'unknown'] as const;
export type FieldOrder = (typeof fieldOrders)[number];

/** Which field of an interlaced picture was recorded earlier; null: frames are whole, or nobody says that they are not. */
export function earlierField({ fieldOrder }: { readonly fieldOrder: FieldOrder }): 'top' | 'bottom' | null {
  if (fieldOrder === 'top-first') return 'top';
  return fieldOrder === 'bottom-first' ? 'bottom' : null;
}

export const videoFactsSchema = z.object({
  streamIndex: z.int().nonnegative().describe('Number of the stream in the file'),
  codec: z.string().describe("vc3, rdd36, else ffprobe's name"),
  codecTag: z.string().describe('Four characters of the container, as ffprobe prints them'),
  profile: z.string().nullable().describe("ffprobe's name; null: not stated"),
  level: z.int().nullable().describe('As ffprobe prints it; null: not stated'),
  width: z.int().positive().describe('Pixels as coded, before rotation and pixel aspect'),
  height: z.int().positive().describe('Pixels as coded'),
  pixelAspect: ratioSchema.describe('Width of a pixel to its height'),
  rotation: z
    .union([z.literal(0), z.literal(90), z.literal(180), z.literal(270)])
    .describe('Clockwise turn that brings the coded picture upright, degrees'),
  mirrored: z
    .boolean()
    .optional()
    .describe('true: the coded picture is mirrored, and left and right change places before it is turned'),
  frameLine: z
    .object({
      left: z.number().min(0).max(1),
      top: z.number().min(0).max(1),
      width: z.number().positive().max(1),
      height: z.number().positive().max(1),
    })
    .optional()
    .describe(
      'By the settings, what of the upright picture was framed for, in parts of its width and height; absent: all of it',
    ),
  pixelFormat: z.string().describe("ffprobe's name"),
  bitDepth: z.int().positive().describe('Bits of a sample'),
  fieldOrder: z.enum(fieldOrders).describe('Which field was recorded earlier'),
  colour: colourTagsSchema.describe('What the file says of its colours'),
  chromaSiting: z
    .string()
    .optional()
    .describe(
      'Where chroma samples lie, as ffprobe names it (`left`, `topleft`, `center`); absent: the file does not say',
    ),
  frames: z
    .int()
    .nonnegative()
    .describe('Counted packets that are shown (a packet is one frame); for sequences the number of files'),
  claimedFrames: z.int().nullable().describe('What the header claims, null when it claims nothing'),
  rate: ratioSchema.describe('Frames a second'),
  timeBase: ratioSchema.describe('Seconds per tick of the times below'),
  firstTime: z.int().describe('First presentation time, ticks of `timeBase`'),
  endTime: z.int().describe('End of the last frame, ticks of `timeBase`'),
  steps: z
    .array(z.object({ ticks: z.int().describe('Ticks of `timeBase`'), count: z.int().describe('How often') }))
    .describe(
      'Every step between neighbouring presentation times, most frequent first; one entry when the rate is constant (steps that differ only by rounding to the time base count as one); more where steps are a tick beside what the time base can hold',
    ),
  stepsInOrder: z
    .array(z.tuple([z.int(), z.int().positive()]))
    .optional()
    .describe(
      'Of a rate that varies: the steps between neighbouring presentation times in their order, each as ticks of `timeBase` and how often it follows itself; absent: the rate is constant',
    ),
  rateConstant: z.boolean().describe('All steps are one, but for rounding'),
  bytes: z.int().nonnegative().describe('Sum of the packets, bytes'),
  smallestPacket: z.int().nonnegative().describe('Bytes'),
  largestPacket: z.int().nonnegative().describe('Bytes'),
});
export type VideoFacts = z.infer<typeof videoFactsSchema>;

/** Of the decoded picture: ffmpeg turns it. */
export function uprightSize({ width, height, rotation }: Pick<VideoFacts, 'width' | 'height' | 'rotation'>): {
  readonly width: number;
  readonly height: number;
} {
  return rotation === 90 || rotation === 270 ? { width: height, height: width } : { width, height };
}

/** By which rules a sound file belongs to frames. */
export const soundRules = ['name', 'timecode'] as const;
export const besideSchema = z.object({
  file: z.string().describe('The sound file, relative to the roll, / between parts'),
  matchedBy: z
    .enum(soundRules)
    .describe(
      'name: it has the name of the frames or of their folder; timecode: its time and length are those of the frames',
    ),
});

/** What a deliverable may carry of a recording. */
export const recordingForms = ['mix', 'track'] as const;
/** By what a recording was laid beside a clip. */
export const laidByForms = ['content', 'timecode'] as const;
export const recordedSchema = z.object({
  roll: z.string().describe('The sound roll'),
  file: z.string().describe('The file, relative to that roll, / between parts'),
  checksum: z.string().describe('Of the file as it was verified, `algorithm:checksum`'),
  channels: z
    .array(z.int().positive())
    .min(1)
    .describe('Which channels of the file, from 1, in the order of the track'),
  form: z
    .enum(recordingForms)
    .describe('mix: what the recordist mixed; track: one channel as it was recorded'),
  name: z
    .string()
    .nullable()
    .describe('Of the track: scene, take and name, as the recorder says; null: it says none'),
  scene: z.string().nullable().describe('As the recorder says; null: it does not'),
  take: z.string().nullable().describe('As the recorder says; null: it does not'),
  laidBy: z
    .enum(laidByForms)
    .describe(
      "content: by what it and the clip's own audio heard; timecode: by its time and the clip's timecode alone",
    ),
  startSamples: z
    .int()
    .describe(
      'Samples of the recording from the first frame of the clip to its own first sample; negative: it began before the clip',
    ),
  driftMillionths: z
    .number()
    .describe(
      "By how many millionths it has more samples than the clip's clock, which are taken out; 0: every sample is carried as it was recorded",
    ),
  from: z.int().nonnegative().describe('First sample of the file that lies beside the clip'),
  sinceRate: z
    .int()
    .positive()
    .describe('How many of the samples in which its time since midnight is counted are a second'),
});
export type RecordedTrack = z.infer<typeof recordedSchema>;

export const audioFactsSchema = z.object({
  streamIndex: z.int().nonnegative().describe('Number of the stream in the file'),
  beside: besideSchema
    .optional()
    .describe('The sound file beside frames that the track lies in; absent: the clip itself has it'),
  recording: recordedSchema
    .optional()
    .describe(
      'Of a track of production sound: the recording of a sound roll that it is taken from, as far as it lies beside the clip; absent: the audio of the clip',
    ),
  pieces: z
    .array(
      z.object({
        take: z.int().nonnegative().describe("Samples of the part's audio, from its first"),
        silence: z
          .int()
          .nonnegative()
          .describe('Samples of silence behind them, up to where the audio of the next part begins'),
      }),
    )
    .optional()
    .describe(
      'Of a spanned clip whose audio does not run on: what is taken of each part, so that all of it lies where it was recorded; absent: one decoder gets all packets',
    ),
  codec: z.string().describe("ffprobe's name"),
  sampleFormat: z.string().describe("ffprobe's name"),
  bitDepth: z.int().nullable().describe('Bits of a sample; null: the codec has none'),
  sampleRate: z.int().positive().describe('Samples a second'),
  channels: z.int().positive().describe('How many'),
  layout: z
    .string()
    .nullable()
    .describe('As ffprobe names it (`mono`, `stereo`, `5.1`); null when the file does not say'),
  samples: z
    .int()
    .nonnegative()
    .describe('Samples per channel that are played (edit lists and priming taken off), counted over packets'),
  startOffset: z
    .int()
    .describe('Start of the audio against the start of the picture, in samples; 0 when together'),
});
export type AudioFacts = z.infer<typeof audioFactsSchema>;

export const partFactsSchema = z.object({
  file: z.string().describe('Relative to the roll, / between parts'),
  frames: z.int().positive().describe('Counted packets that are shown'),
  firstTime: z.int().describe('First presentation time, ticks of `timeBase`'),
  timeBase: ratioSchema.describe('Length of a tick of the file, seconds'),
  timecode: timecodeSchema.nullable().describe('Of its first frame; null: there is none'),
  audio: z
    .array(
      z.object({
        samples: z.int().nonnegative().describe('Samples per channel that are played'),
        startOffset: z.int().describe("Start against the part's picture, in samples"),
      }),
    )
    .describe('By track'),
});
export type PartFacts = z.infer<typeof partFactsSchema>;

const chromaticity = z.tuple([z.number(), z.number()]);
export const exrFactsSchema = z.object({
  layout: z
    .enum(['scan-lines', 'tiles', 'parts', 'deep'])
    .describe('How samples lie in the frames; `parts`: several, of which the first is used'),
  compression: z.string().describe("OpenEXR's name, in small letters"),
  channels: z.array(z.string()).describe('Every channel that any frame has, of its first part'),
  chromaticities: z
    .object({ red: chromaticity, green: chromaticity, blue: chromaticity, white: chromaticity })
    .nullable()
    .describe('CIE 1931 x, y of primaries and white, as the frames state them; null: not stated'),
  reader: z
    .literal('own')
    .optional()
    .describe('own: Rushlight itself reads and places the pictures; absent: ffmpeg does'),
});
export type ExrFacts = z.infer<typeof exrFactsSchema>;

export const burnInFactsSchema = z.object({
  camera: z
    .object({
      name: z.string().describe('As it is written'),
      from: z.string().describe('Where it was read, or who states it'),
    })
    .nullable()
    .describe('null: nobody says it'),
  watermark: z.string().nullable().describe('Words that the settings state; null: none'),
  timeZone: z
    .string()
    .nullable()
    .describe('Of the show, by its name in the IANA Time Zone Database; null: not stated'),
});
export type BurnInFacts = z.infer<typeof burnInFactsSchema>;

export const clipFactsSchema = z.object({
  kind: z.enum(['movie', 'sequence']).describe('movie or sequence'),
  container: z.string().describe("ffprobe's format name, or the still format of a sequence"),
  video: videoFactsSchema.describe('The picture'),
  audio: z
    .array(audioFactsSchema)
    .describe(
      'Its audio tracks, in order, and behind them those of a recording that a profile of it asks for',
    ),
  timecode: timecodeSchema.nullable().describe('Of the first frame; null: there is none'),
  timecodeFrom: z
    .string()
    .nullable()
    .describe(
      'Where the timecode was read: `tmcd`, `mxf`, `header`, `decoder` (a declared one says it); null without timecode',
    ),
  reel: z.string().nullable().describe('As the camera wrote it; null: it wrote none'),
  createdAt: z.string().nullable().describe('ISO 8601, as recorded by the camera; null: it did not say'),
  metadata: z
    .record(z.string(), z.string())
    .describe('Other tags of the container and picture stream, as written'),
  parts: z
    .array(partFactsSchema)
    .min(2)
    .optional()
    .describe('Of a spanned clip: what each of its files holds, in order'),
  firstNumber: z
    .int()
    .nonnegative()
    .optional()
    .describe('Number of the first frame of a sequence, as its name has it'),
  stated: statedSchema
    .optional()
    .describe(
      "Of stills: what their headers say of camera, lens and exposure, by the names of OpenEXR's standard attributes, and what of it has no place in a master",
    ),
  exr: exrFactsSchema.optional().describe('Of OpenEXR frames: what their headers say'),
  raw: rawFactsSchema
    .optional()
    .describe('Of a raw clip: what development needs, what the camera says, and who decodes it'),
  declared: declarationSchema
    .optional()
    .describe(
      'Of a clip whose pictures a declared decoder gives: whose, and how it is called. Codec and container have its name',
    ),
  interpretation: interpretationSchema
    .optional()
    .describe(
      'What the values mean, by the settings of the run or by tags; only where a master, or a picture for a display, is asked for',
    ),
  timing: timingSchema
    .optional()
    .describe('What the settings of the run say of its time; absent: nobody says anything'),
  burnIn: burnInFactsSchema
    .optional()
    .describe(
      'What files and settings say for text in the picture; only where a profile writes camera, date or watermark',
    ),
  way: colourWaySchema
    .optional()
    .describe(
      'How its pictures are to look, by the settings of the run; absent: nobody says anything, which is the output transform of ACES 2 alone',
    ),
});
export type ClipFacts = z.infer<typeof clipFactsSchema>;
