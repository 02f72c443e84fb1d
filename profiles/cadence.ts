/** What a profile says of rates, and how a deliverable's time came out. */
import { z } from 'zod';
import { ratioSchema } from '../media/time/schema.ts';
import {
  missingTimecodes,
  offSpeedAudioChoices,
  offSpeedChoices,
  variableRateChoices,
} from '../media/time/timing.ts';

/** Of profiles. What the settings of a run state goes before each of it. */
export const rateSchema = z
  .strictObject({
    off_speed: z
      .enum(offSpeedChoices)
      .optional()
      .describe(
        "A clip that was recorded faster than the project (`project_rate` in the settings): own-rate: it keeps its rate; project-rate: every frame is played at the project's rate, and so is every one of numbered frames that were recorded slower. Absent: own-rate. Settings go before it",
      ),
    off_speed_audio: z
      .enum(offSpeedAudioChoices)
      .optional()
      .describe(
        "Audio of a clip that is played at the project's rate: leave-out: none; real-time: as it was heard, shorter than the picture. Absent: leave-out. Settings go before it",
      ),
    variable: z
      .enum(variableRateChoices)
      .optional()
      .describe(
        'A clip without a constant rate: hold it, or give it one, at each instant of a regular grid the frame that was shown then. Absent: hold. Settings go before it',
      ),
  })
  .optional()
  .describe(
    'What becomes of clips whose rate is not that of the project, or varies. A lossless copy keeps its own',
  );
export type RatePolicy = z.infer<typeof rateSchema>;

export const missingTimecodeField = z
  .enum(missingTimecodes)
  .describe(
    'A clip without timecode: hold it; zero: start it at 00:00:00:00; time-of-day: at the time of day by its own clock, in the time zone of the show, where the file says it, else hold it; time-of-day-or-zero: the same, else at zero. Each is reported. A start that the settings state, or what they say of `timecode_missing`, goes before it',
  );

export const gridSchema = z.object({
  repeated: z
    .array(z.tuple([z.int().nonnegative(), z.int().min(2)]))
    .describe('Frames of the clip that are shown more than once: which, counted from 0, and how often'),
  leftOut: z.array(z.int().nonnegative()).describe('Frames of the clip that are not shown, counted from 0'),
});
export type Grid = z.infer<typeof gridSchema>;

export const splitSchema = z.object({
  earlier: z
    .enum(['top', 'bottom'])
    .describe('Which field of frame k of the clip is frame 2k; the other one is frame 2k + 1'),
});
export type Split = z.infer<typeof splitSchema>;

export const timecodeOrigins = ['file', 'settings', 'time-of-day', 'zero'] as const;
export type TimecodeOrigin = (typeof timecodeOrigins)[number];

/** Of an outcome. */
export const cadenceSchema = z.object({
  offSpeed: z
    .object({
      captured: ratioSchema.describe('Rate of the clip, frames a second'),
      slower: ratioSchema.describe(
        'How many times longer it lasts: that rate over the rate of the deliverable',
      ),
      audio: z.enum(offSpeedAudioChoices).describe('What became of its audio'),
    })
    .nullable()
    .describe('Of a clip whose frames are played at another rate than they were recorded at; null: others'),
  constant: gridSchema
    .nullable()
    .describe(
      'Of a clip without a constant rate: at each instant of a regular grid the frame that was shown then, from the first frame on; null: others',
    ),
  split: splitSchema
    .nullable()
    .describe(
      'Of an interlaced clip whose every field is a frame, at twice the rate of the clip: in which order; null: others',
    ),
  timecodeFrom: z
    .enum(timecodeOrigins)
    .describe('Whose the start timecode is: that of the file, the settings, a clock, or nobody (zero)'),
  timecodeField: z
    .string()
    .nullable()
    .describe('Of a time of day: the field of the file that says it, and its value; null: others'),
});
export type Cadence = z.infer<typeof cadenceSchema>;
