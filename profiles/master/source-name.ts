/** What a frame of a master says of the file that it was made from: its name, never where it lies, and which frame it is. */
import { basename } from 'node:path';
import { z } from 'zod';
import { printable } from '../../files/names.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { frameName, type InputPlace } from '../../media/input.ts';

export const sourceNamesSchema = z.union([
  z.object({ file: z.string().describe('Name of the movie') }),
  z.object({
    parts: z
      .array(
        z.object({
          file: z.string().describe('Name of the movie'),
          frames: z.int().positive().describe('Frames of it'),
        }),
      )
      .min(2)
      .describe('Of a spanned clip, in order'),
  }),
  z.object({
    prefix: z.string().describe('File name before the number'),
    suffix: z.string().describe('File name after the number'),
    padding: z.int().nonnegative().describe('Digits of the zero-padded number; 0: not padded'),
    first: z.int().nonnegative().describe('Number of the first frame'),
  }),
]);
export type SourceNames = z.infer<typeof sourceNamesSchema>;

export function sourceNamesOf(place: InputPlace, { parts = [] }: Pick<ClipFacts, 'parts'>): SourceNames {
  if (place.kind === 'movie') return { file: basename(place.file) };
  if (place.kind === 'spanned')
    return { parts: parts.map(({ file, frames }) => ({ file: basename(file), frames })) };
  const { prefix, suffix, padding, first } = place;
  return { prefix, suffix, padding, first };
}

/**
 * Of the frame that is `index` in the clip, from 0: a file of a sequence has its own number, a movie counts from 0, and so does each part of a spanned clip. Behind
 * the last frame the count goes on: whoever makes frames asks before it is known that there is no further one, and one too many is the checker's to find.
 */
export function sourceNameAt(names: SourceNames, index: number): { file: string; frame: number } {
  if ('file' in names) return { file: printable(names.file), frame: index };
  if ('parts' in names) {
    let first = 0;
    let part = names.parts[0];
    for (const next of names.parts.slice(1)) {
      if (part === undefined || index < first + part.frames) break;
      first += part.frames;
      part = next;
    }
    return { file: printable(part?.file ?? ''), frame: index - first };
  }
  return { file: printable(frameName(names, names.first + index)), frame: names.first + index };
}
