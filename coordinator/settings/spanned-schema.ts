/** What the settings say of recordings in several files. */
import { z } from 'zod';
import { partPattern } from '../survey/spanned.ts';

export const spannedSchema = z
  .strictObject({
    names: z
      .union([
        z.enum(['suffix', 'none']),
        z
          .array(
            z
              .string()
              .max(200)
              .refine((pattern) => partPattern(pattern) !== null, {
                message: 'a pattern with one `*` and one run of `#`, as `*_S###`',
              }),
          )
          .min(1)
          .max(20),
      ])
      .optional()
      .describe(
        'Which files are parts of one recording: `suffix` (NAME, then NAME_1 or NAME-1 and so on; so it is where nobody says), `none`, or patterns of names without their extension, in which `*` is the take and a run of `#` the number of the part, from 0 or 1: `*_S###`. Of a clip: `suffix` or `none`',
      ),
    continue_by: z
      .enum(['timecode', 'order'])
      .optional()
      .describe(
        '`timecode` must run on from part to part (so it is where nobody says); `order`: the parts have none, or none that runs on, and their names alone say what follows',
      ),
    parts: z
      .array(z.string().min(1).max(1000))
      .min(2)
      .max(500)
      .optional()
      .describe('Of a clip, by the name of its first part: its files in order, relative to the roll'),
  })
  .describe('Recordings in several files; each of its fields counts by itself');
