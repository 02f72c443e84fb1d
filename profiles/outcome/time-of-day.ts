/** The time of day at which a clip without timecode began, by the file's own clock. Pure. */
import type { ClipFacts } from '../../media/facts.ts';
import { type Rate, timecodeBase } from '../../media/time/rate.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { offsetText, shownIn } from '../../media/time/zone.ts';
import { type ClockFacts, saidIn, stampOf, type TimeOfDay } from './source-clock.ts';

export type Clock =
  | {
      readonly time: TimeOfDay;
      /** Field of the file and its value. */
      readonly field: string;
      /** In words, with the zone. */
      readonly said: string;
    }
  | { readonly why: string };

/** In the time zone of the show where the file says its own zone, else as its clock showed it. */
export function clockOf(facts: ClockFacts & Pick<ClipFacts, 'timing'>): Clock {
  const said = saidIn(facts);
  const show = facts.timing?.timeZone ?? null;
  const reasons: string[] = [];
  for (const { name, value, local } of said) {
    const stamp = stampOf(value);
    const field = `${name} ${value}`;
    if (stamp === null) {
      reasons.push(`${field} is no time`);
      continue;
    }
    const own = stamp.ahead;
    if (own === null && !local) {
      reasons.push(`${field} does not say its time zone`);
      continue;
    }
    // A time in UTC is that of no place.
    if (show === null && own === 0) {
      reasons.push(`${field} is in UTC, and the settings state no time zone of the show`);
      continue;
    }
    if (own === null)
      return { time: stamp.time, field, said: `${timeText(stamp.time)} of ${name}, local time` };
    if (show === null)
      return {
        time: stamp.time,
        field,
        said: `${timeText(stamp.time)} of ${name}, at ${offsetText(own)} as it says`,
      };
    const { hours, minutes, seconds } = stamp.time;
    const shown = shownIn(`${stamp.date}T00:00:00Z`, 3600 * hours + 60 * minutes + seconds - own, show);
    const time = { ...shown, fraction: stamp.time.fraction };
    return { time, field, said: `${timeText(time)} of ${name} (${value}), in ${show}` };
  }
  return { why: reasons.length === 0 ? 'the file says no time of day' : reasons.join(', ') };
}

const two = (value: number): string => String(value).padStart(2, '0');
const timeText = ({ hours, minutes, seconds, fraction }: TimeOfDay): string =>
  `${two(hours)}:${two(minutes)}:${two(seconds)}${/[1-9]/.test(fraction) ? `.${fraction}` : ''}`;

/** Hours, minutes and seconds as the clock showed them, and of the second what had gone by in whole frames, rounded down. Non-drop at every rate. */
export function timecodeOfClock({ hours, minutes, seconds, fraction }: TimeOfDay, rate: Rate): Timecode {
  const base = timecodeBase(rate);
  const part = (BigInt(fraction === '' ? '0' : fraction) * BigInt(base)) / 10n ** BigInt(fraction.length);
  return { frame: ((60 * hours + minutes) * 60 + seconds) * base + Number(part), base, drop: false };
}
