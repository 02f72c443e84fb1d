/** When rolls are due: by the options of the command, else by the settings. Pure. */
import { FindingError, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { type Hour, hourOf, nextMoment } from './due.ts';

export interface Dues {
  /** The zone that hours are of and times are shown in. */
  readonly timeZone: string;
  /** Milliseconds since 1970, UTC; null: at no hour. */
  of(roll: string): number | null;
}

/** Of the settings. */
interface StatedHours {
  readonly show?:
    | { readonly time_zone?: string | undefined; readonly ready_by?: string | undefined }
    | undefined;
  readonly rolls?: Readonly<Record<string, { readonly ready_by?: string | undefined }>> | undefined;
}

export interface DuesRequest {
  /** `06:00` for every roll, `A001=05:30` for one. */
  readonly by: readonly string[];
  readonly settings: StatedHours;
  /** Names of the day's rolls. */
  readonly rolls: readonly string[];
  /** Milliseconds since 1970, UTC. */
  readonly now: number;
}

/** Of this machine, where the show states none. */
const zoneOf = ({ show }: DuesRequest['settings']): string =>
  show?.time_zone ?? new Intl.DateTimeFormat().resolvedOptions().timeZone;

/** Throws FindingError (2) for an hour that is none, and for a roll that the day does not have. */
export function duesOf({ by, settings, rolls, now }: DuesRequest): Dues {
  const timeZone = zoneOf(settings);
  const stated = { all: null as Hour | null, rolls: new Map<string, Hour>() };
  for (const text of by) {
    const cut = text.lastIndexOf('=');
    const hour = hourOf(text.slice(cut + 1));
    if (hour === null) throw wrong(`--by ${printable(text)}`, '--by 06:00, or --by <roll>=06:00');
    const roll = cut === -1 ? null : text.slice(0, cut);
    if (roll === null) stated.all = hour;
    else if (rolls.includes(roll)) stated.rolls.set(roll, hour);
    else throw wrong(`no roll ${printable(roll)}`, `rolls of the day: ${rolls.map(printable).join(', ')}`);
  }
  const written = (text: string | undefined): Hour | null => (text === undefined ? null : hourOf(text));
  const moments = new Map<string, number | null>();
  const due = (roll: string): number | null => {
    const hour =
      stated.rolls.get(roll) ??
      stated.all ??
      written(settings.rolls?.[roll]?.ready_by) ??
      written(settings.show?.ready_by);
    return hour === null ? null : nextMoment(hour, timeZone, now);
  };
  return {
    timeZone,
    of(roll) {
      const known = moments.get(roll);
      if (known !== undefined) return known;
      const moment = due(roll);
      moments.set(roll, moment);
      return moment;
    },
  };
}

const wrong = (found: string, expected: string): FindingError =>
  new FindingError([finding('usage-wrong', found, expected)], 2);

export const standings = ['in-time', 'at-risk', 'late'] as const;
export type InTime = (typeof standings)[number];

/** Of a range in seconds from `now`; null: due at no hour, or nothing is known. */
export function inTime(
  ready: { readonly least: number; readonly most: number } | null,
  due: number | null,
  now: number,
): InTime | null {
  if (ready === null || due === null) return null;
  const left = (due - now) / 1000;
  if (ready.most <= left) return 'in-time';
  return ready.least <= left ? 'at-risk' : 'late';
}
