/** What the file of a still says of itself, keyword to text. Pure. */
import { printable } from '../../files/names.ts';
import type { StillsOutcome } from './schema.ts';

const SHOWS = {
  shown: 'as the settings show it on a display of standard range',
  'for-display': 'as it was recorded for a display',
  'as-recorded': 'code values as they were recorded',
} as const;

/** Keywords of the PNG specification where it has one (clause 11.3.3.1). */
export function stillTexts(
  { roll, clip }: { readonly roll: string; readonly clip: { readonly id: string; readonly name: string } },
  { shows }: Pick<StillsOutcome, 'shows'>,
  { frame, timecode }: Pick<StillsOutcome['stills'][number], 'frame' | 'timecode'>,
): [keyword: string, text: string][] {
  return [
    ['Title', printable(clip.name)],
    ['Description', SHOWS[shows]],
    ['Roll', printable(roll)],
    ['Clip', printable(clip.id)],
    ['Frame', String(frame)],
    ...(timecode === null ? [] : [['Timecode', timecode] as [string, string]]),
  ];
}
