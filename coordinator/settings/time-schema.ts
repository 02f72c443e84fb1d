/** What settings say of time: the project's rate, clips of other rates, and where timecode comes from that a camera did not write. Nothing else of the settings is here. */
import { z } from 'zod';
import { isKnownRate, parseRate, type Rate } from '../../media/time/rate.ts';
import {
  missingTimecodes,
  offSpeedAudioChoices,
  offSpeedChoices,
  variableRateChoices,
} from '../../media/time/timing.ts';

/** null: no rate that timecode counts. */
export function projectRateOf(written: string | number): Rate | null {
  try {
    const rate = parseRate(String(written));
    return isKnownRate(rate) ? rate : null;
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}

/** Of every level. */
export const timeFields = {
  project_rate: z
    .union([z.string().min(1).max(30), z.number().positive()])
    .refine((written) => projectRateOf(written) !== null, {
      message: 'a rate that timecode counts, such as 24000/1001, 25 or 59.94',
    })
    .optional()
    .describe(
      'Frames a second of the project, exact: 24000/1001, 25. Usual decimals of such rates (23.976, 29.97, 59.94) mean the exact pair',
    ),
  off_speed: z
    .enum(offSpeedChoices)
    .optional()
    .describe(
      'A clip that was recorded faster than the project, and numbered frames that were recorded slower: own-rate: it keeps its rate; project-rate: every frame is played at the rate of the project, so that it lasts longer, or shorter. No frame is repeated or left out. A lossless copy always keeps its rate. own-rate when nobody says',
    ),
  off_speed_audio: z
    .enum(offSpeedAudioChoices)
    .optional()
    .describe(
      'Audio of a clip that is played at the rate of the project: leave-out: none; real-time: as it was heard, shorter than the picture. leave-out when nobody says',
    ),
  timecode: z
    .string()
    .regex(/^\d{2}:\d{2}:\d{2}[:;]\d{2,3}$/, 'HH:MM:SS:FF, or HH:MM:SS;FF for drop-frame')
    .optional()
    .describe(
      'Start of a clip that has no timecode of its own, in labels of the rate that it is delivered at; HH:MM:SS;FF for drop-frame. Meant for a clip: of a roll, every clip of it without timecode starts there',
    ),
  timecode_missing: z
    .enum(missingTimecodes)
    .optional()
    .describe(
      'A clip without timecode, for which none is stated here: hold it; start it at zero; at the time of day by its own clock, in the time zone of the show, else hold it; or at the time of day, else at zero. Absent: as the profile says',
    ),
  variable_rate: z
    .enum(variableRateChoices)
    .optional()
    .describe(
      'A clip without a constant rate: hold it, or give it one: at each instant of a regular grid the frame that was shown then; frames that are repeated or left out for it are listed. Absent: as the profile says, else hold',
    ),
};
