/** What the levels of the settings say of a clip's time, as one record. Pure. */
import type { z } from 'zod';
import type { Timing } from '../../media/time/timing.ts';
import { type Level, nearest } from './levels.ts';
import { projectRateOf, type timeFields } from './time-schema.ts';

type Written = {
  readonly [Name in keyof typeof timeFields]?: z.infer<(typeof timeFields)[Name]> | undefined;
};

/** What the levels say of a clip's time, and who says each. */
export function timingOf(
  levels: readonly Level[],
  timeZone: string | undefined,
): {
  readonly timing: Timing | null;
  readonly applied: readonly { setting: keyof Written; value: string; from: Level['said'] }[];
} {
  const applied: { setting: keyof Written; value: string; from: Level['said'] }[] = [];
  const of = <Name extends keyof Written>(setting: Name): NonNullable<Written[Name]> | undefined => {
    const found = nearest<NonNullable<Written[Name]>>(
      levels,
      (part) => (part as Written)[setting] ?? undefined,
    );
    if (found === null) return undefined;
    applied.push({ setting, value: String(found.value), from: found.said });
    return found.value;
  };
  const written = of('project_rate');
  const rate = written === undefined ? null : projectRateOf(written);
  const stated = {
    ...(rate === null ? {} : { projectRate: rate }),
    ...present('offSpeed', of('off_speed')),
    ...present('offSpeedAudio', of('off_speed_audio')),
    ...present('timecode', of('timecode')),
    ...present('timecodeMissing', of('timecode_missing')),
    ...present('variableRate', of('variable_rate')),
    ...present('timeZone', timeZone),
  };
  return { timing: Object.keys(stated).length === 0 ? null : stated, applied };
}

const present = <Name extends string, Value>(
  name: Name,
  value: Value | undefined,
): Partial<Record<Name, Value>> => (value === undefined ? {} : ({ [name]: value } as Record<Name, Value>));
