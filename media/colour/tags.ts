/** What a file says of its colours. */
import { z } from 'zod';

/** Names as ffprobe prints them (ITU-T H.273 code points); null: not tagged. */
export const colourTagsSchema = z.object({
  primaries: z.string().nullable(),
  transfer: z.string().nullable(),
  matrix: z.string().nullable(),
  range: z.enum(['limited', 'full']).nullable(),
});
export type ColourTags = z.infer<typeof colourTagsSchema>;
