/** What the settings of a run say of a clip's time. What of it counts beside a profile is decided in profiles/outcome/cadence.ts. */
import { z } from 'zod';
import { ratioSchema } from './schema.ts';

/** own-rate: a clip keeps its rate. project-rate: of a clip that was recorded faster, every frame is played at the project's rate. */
export const offSpeedChoices = ['own-rate', 'project-rate'] as const;
/** leave-out: none. real-time: as it was heard, shorter than the picture. */
export const offSpeedAudioChoices = ['leave-out', 'real-time'] as const;
/** What a clip without timecode starts at. */
export const missingTimecodes = ['hold', 'zero', 'time-of-day', 'time-of-day-or-zero'] as const;
export type MissingTimecode = (typeof missingTimecodes)[number];
/** constant: a regular grid, each of whose frames is the one that was shown then. */
export const variableRateChoices = ['hold', 'constant'] as const;

/** Each absent where no level of the settings states it. */
export const timingSchema = z.object({
  projectRate: ratioSchema.optional().describe('Frames a second'),
  offSpeed: z.enum(offSpeedChoices).optional(),
  offSpeedAudio: z.enum(offSpeedAudioChoices).optional(),
  timecodeMissing: z.enum(missingTimecodes).optional(),
  timecode: z.string().optional().describe('Start of a clip without timecode, as it was written'),
  variableRate: z.enum(variableRateChoices).optional(),
  timeZone: z.string().optional().describe('Of the show, by its name in the IANA Time Zone Database'),
});
export type Timing = z.infer<typeof timingSchema>;
