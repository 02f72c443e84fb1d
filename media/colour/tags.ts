/** What a file says of its colours. */
import { z } from 'zod';

/** Names of ITU-T H.273 (media/colour/h273.ts); what has none there is as ffprobe prints it; null: not tagged. */
export const colourTagsSchema = z.object({
  primaries: z
    .string()
    .nullable()
    .describe('Name of ITU-T H.273, Table 2 (glossary), else as ffprobe prints it; null: not tagged'),
  transfer: z
    .string()
    .nullable()
    .describe('Name of ITU-T H.273, Table 3 (glossary), else as ffprobe prints it; null: not tagged'),
  matrix: z
    .string()
    .nullable()
    .describe('Name of ITU-T H.273, Table 4 (glossary), else as ffprobe prints it; null: not tagged'),
  range: z.enum(['limited', 'full']).nullable().describe('limited or full; null: not tagged'),
});
export type ColourTags = z.infer<typeof colourTagsSchema>;
