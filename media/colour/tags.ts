/** What a file says of its colours. */
import { z } from 'zod';

/** Names as ffprobe prints them (ITU-T H.273 code points); null: not tagged. */
export const colourTagsSchema = z.object({
  primaries: z.string().nullable().describe('null: not tagged'),
  transfer: z.string().nullable().describe('null: not tagged'),
  matrix: z.string().nullable().describe('null: not tagged'),
  range: z.enum(['limited', 'full']).nullable().describe('limited or full; null: not tagged'),
});
export type ColourTags = z.infer<typeof colourTagsSchema>;
