/** What pages and sheets say of clips, copies and times, in words. Pure. */
import { durationText, momentText } from '../findings/human.ts';
import { roundedDivision, type Rate } from '../media/time/rate.ts';
import { formatTimecode } from '../media/time/timecode.ts';
import type { DayClip } from './day.ts';

/** Of a second, from exact numbers. */
export function tenthsOf(frames: number, { num, den }: Rate): number {
  return Number(roundedDivision(BigInt(frames) * BigInt(den) * 10n, BigInt(num)));
}

/** `1.5 s`, `4 min 10 s`. */
export const tenthsText = (tenths: number): string =>
  tenths < 600 ? `${(tenths / 10).toFixed(1)} s` : durationText(tenths / 10);

export const lengthText = (frames: number, rate: Rate): string => tenthsText(tenthsOf(frames, rate));

/** Of clips together; those that could not be measured are left out. */
export function lengthOfAll(clips: readonly Pick<DayClip, 'recorded' | 'stretch'>[]): string {
  return tenthsText(
    clips.reduce(
      (sum, { recorded, stretch }) =>
        sum + (recorded === null ? 0 : tenthsOf(stretch?.frames ?? recorded.frames, recorded.rate)),
      0,
    ),
  );
}

export const NOT_KNOWN = 'not known';

export const startText = ({ recorded }: Pick<DayClip, 'recorded'>): string =>
  recorded?.start == null ? 'no timecode' : formatTimecode(recorded.start);

export const clipLengthText = ({ recorded, stretch }: Pick<DayClip, 'recorded' | 'stretch'>): string =>
  recorded === null ? `length ${NOT_KNOWN}` : lengthText(stretch?.frames ?? recorded.frames, recorded.rate);

/** A zone that this machine does not know (an old database, a damaged record) is no reason for a page without times. */
export function timeText(moment: string, zone: string | null): string {
  try {
    return momentText(moment, zone);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return momentText(moment, null);
  }
}

/**
 * Which drive, from the folder of a copy of a roll: what lies above `<day>/<roll>`, since that is how a card is offloaded. The
 * folder itself where it ends otherwise.
 */
export function driveOf(
  folder: string,
  { day, roll }: { readonly day: string; readonly roll: string },
): string {
  const parts = folder.split('/');
  if (parts.at(-1) === roll) parts.pop();
  if (parts.at(-1) === day) parts.pop();
  return parts.at(-1) || folder;
}

/** `A001, A002 and B001`; of many the first, and how many more. */
export function listed(names: readonly string[], most = 4): string {
  const [last] = names.slice(-1);
  if (last === undefined) return '';
  if (names.length === 1) return last;
  if (names.length > most) return `${names.slice(0, most).join(', ')} and ${names.length - most} more`;
  return `${names.slice(0, -1).join(', ')} and ${last}`;
}
