/**
 * Outcome: how one clip must come out in one profile, decided before anything runs, from facts and profile alone.
 * The planner shows it, the maker is reported it, the checker measures against it.
 */
import { z } from 'zod';
import { besideSchema, recordedSchema, fieldOrders } from '../media/facts.ts';
import { statedSchema } from '../media/formats/stated-schema.ts';
import { limitings } from '../media/colour/output/displays.ts';
import { sitings } from '../media/colour/siting.ts';
import { colourTagsSchema } from '../media/colour/tags.ts';
import { framingSchema } from '../proof/framing.ts';
import { burntInSchema } from '../proof/text/form.ts';
import { ratioSchema, timecodeSchema } from '../media/time/schema.ts';
import { cadenceSchema } from './cadence.ts';
import { amfSchema } from './master/amf.ts';
import { linearisationSchema } from './master/linearisation.ts';
import { shownSchema } from './shown/schema.ts';

export const outcomeSchema = z.object({
  kind: z.literal('movie').describe('One movie'),
  fileName: z.string().describe('File name without folder, extension included'),
  frames: z.int().positive().describe('How many'),
  rate: ratioSchema.describe('Frames a second'),
  width: z.int().positive().describe('Pixels'),
  height: z.int().positive().describe('Pixels'),
  pixelFormat: z
    .string()
    .describe(
      "As ffprobe reads it back: where decoder and encoder name the same pixels differently, the decoder's name",
    ),
  colour: colourTagsSchema.describe('Tags of the file'),
  contentLight: z
    .literal('measured')
    .nullable()
    .describe(
      'MaxCLL and MaxFALL of the pictures are measured while they are encoded, and written into the stream; null: the stream says nothing of it',
    ),
  masteringDisplay: z
    .object({
      primaries: z.enum(limitings).describe('Of the display; its white is D65'),
      peak: z.number().positive().describe('Luminance of its white, cd/m²'),
      black: z.number().positive().describe('Luminance of its black, cd/m²'),
    })
    .nullable()
    .describe(
      'The display that the pictures are made for, as the stream says it (H.265, D.3.28: mastering display colour volume); null: the stream says nothing of it',
    ),
  chromaSiting: z
    .enum(sitings)
    .nullable()
    .describe(
      "Where chroma samples lie, ffprobe's name, stated in the stream; null: as the codec has it where nothing is stated",
    ),
  pixelAspect: ratioSchema.describe('Width of a pixel to its height'),
  fieldOrder: z
    .enum(fieldOrders)
    .describe('Of a deliverable that keeps the fields of its source; all others: progressive'),
  container: z.enum(['mov', 'mp4', 'mkv']).describe('File form'),
  codec: z.string().describe('By its standard: vc3, rdd36, h264, h265, ffv1'),
  codecTag: z.string().describe('Four characters of the container'),
  codecProfile: z.string().nullable().describe("ffprobe's name; null: not asked for"),
  maxLevel: z
    .int()
    .nullable()
    .describe(
      "Highest allowed level as the stream has it: ten times the level's number (H.264, Table A-1), thirty times (H.265, Table A.8); null where the codec has none",
    ),
  packetBytes: z
    .int()
    .nullable()
    .describe('Exact bytes of every packet, where the codec fixes them (VC-3, ST 2019-1)'),
  keyFrameDistance: z
    .int()
    .positive()
    .nullable()
    .describe('Most pictures from one key frame to the next; null: every picture is one'),
  timecode: timecodeSchema.nullable().describe('Of the first frame; null: none'),
  cadence: cadenceSchema.describe('How it runs against the clip, and whose its timecode is'),
  reel: z.string().nullable().describe('null: none'),
  audio: z
    .array(
      z.object({
        sourceTrack: z.int().nonnegative().describe("Which of the source's audio tracks, counted from 0"),
        codec: z.string().describe("ffprobe's name"),
        sampleRate: z.int().positive().describe('Samples a second'),
        channels: z.int().positive().describe('How many'),
        layout: z.string().nullable().describe("ffprobe's name; null: not stated"),
        samples: z.int().nonnegative().describe('Samples of each channel'),
        tolerance: z
          .int()
          .nonnegative()
          .describe('Samples that may be there more or fewer: 0 for PCM, the last coded block for AAC'),
        bitsPerSecond: z
          .int()
          .positive()
          .nullable()
          .describe('Of compressed audio: what the encoder is asked for; null: others'),
        beside: besideSchema
          .nullable()
          .describe('The sound file beside frames that it is made from; null: a track of the clip itself'),
        recording: recordedSchema
          .nullable()
          .describe('The recording that it is made from; null: audio of the clip'),
        covered: z
          .object({ from: z.int().nonnegative(), to: z.int().nonnegative() })
          .nullable()
          .describe(
            'Of production sound: the samples of the track, end exclusive, that the recording covers; around them is silence. null: others',
          ),
      }),
    )
    .describe('Its tracks, in order'),
  proof: z
    .object({
      framing: framingSchema,
      basis: z
        .object({ matrix: z.string(), range: z.enum(['limited', 'full']) })
        .describe(
          "Which Y'CbCr the fingerprints of the source holds: as the source is taken to be, or what RGB is turned into",
        ),
      earlierField: z
        .enum(['top', 'bottom'])
        .nullable()
        .describe(
          'The earlier field of an interlaced source, each of whose frames becomes one progressive frame unless it is kept; null: whole frames, such as those that fields were split into among them',
        ),
      kept: z.boolean().describe('The deliverable has those fields as they are, and both are of `basis`'),
      lines: z.int().positive().describe("Of the source's upright picture, both fields of an interlaced one"),
      audioOffsets: z
        .array(z.int())
        .describe(
          "Of each entry of `audio`: start of the source's track against the picture, in samples of the source",
        ),
    })
    .describe('What the frame fingerprints are compared by'),
  burnIn: z.array(burntInSchema).describe('Text in the picture, in the order of the profile; empty: none'),
  shown: shownSchema
    .nullable()
    .describe(
      'The colour way that its pictures go, from the recorded code values to those of a display; null: they stay as recorded',
    ),
  pictureError: z
    .object({
      columns: z.int().positive().describe('Regions across'),
      rows: z.int().positive().describe('Regions down'),
      leastPsnr: z.number().describe('Decibels'),
    })
    .nullable()
    .describe(
      'By which regions of luma the error of its frames is measured, and the floor of the profile; null: a deliverable that keeps every sample',
    ),
  exact: z
    .object({
      comparedIn: z
        .string()
        .describe(
          "The layout in which its pictures are compared with the source's (profiles/lossless-pixel-formats.ts)",
        ),
      slices: z.int().positive().describe('Slices of each frame (profiles/outcome/slices.ts)'),
    })
    .nullable()
    .describe('Of a deliverable that keeps every sample; null: others'),
  says: z
    .string()
    .nullable()
    .describe('What the file says of its code values in its own metadata; null: nothing'),
  linearisation: linearisationSchema
    .nullable()
    .describe(
      'Of a movie for grading, whose pictures are not those of the source: from its code values to light (profiles/master/movie.ts); null: others',
    ),
  texts: z
    .object({
      make: z.string().nullable().describe('Maker of the camera; null: not said'),
      model: z.string().nullable().describe('Model of the camera; null: not said'),
      date: z
        .string()
        .nullable()
        .describe(
          'When its first frame was recorded, ISO 8601; without an offset: local time; null: not said',
        ),
    })
    .describe('What the source says and the user data of a movie for grading say in their turn'),
  left: statedSchema.shape.left.describe(
    'Of a movie for grading: what the source says and the movie has no place for; empty: others',
  ),
  amf: amfSchema
    .nullable()
    .describe('Of a movie for grading: the ACES Metadata File beside it, and what it says; null: others'),
  estimatedBytes: z
    .int()
    .positive()
    .describe(
      'What will be written, the error sketch beside the reports included: an estimate for planning, on the safe side; near to exact where the codec fixes every packet',
    ),
});
export type Outcome = z.infer<typeof outcomeSchema>;
