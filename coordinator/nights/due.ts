/** When rolls of a show are due, by the code of a run. */
import { duesOf } from '../forecast/dues.ts';
import { noSettings, readSettings, type Settings } from '../settings/read.ts';
import type { Show } from './config.ts';

/** `seenAt`: milliseconds since 1970 when the roll was first seen: the next such hour counts. null: it is due at no hour. */
export type DayTo = (day: string, roll: string, seenAt: number) => number | null;

/** By show, as they were read last. */
const known = new Map<string, { readonly asked: string; readonly settings: Settings }>();

/** `asked`: digest of what is asked, by which settings that were read are known again. */
export async function dueOfShow(show: Show, asked: string): Promise<DayTo> {
  let settings = known.get(show.name);
  if (settings?.asked !== asked) {
    // What is wrong with them is told by the night.
    const read =
      show.settings === null ? noSettings : await readSettings(show.settings).catch(() => noSettings);
    settings = { asked, settings: read };
    known.set(show.name, settings);
  }
  const { file } = settings.settings;
  return (day, roll, seenAt) => {
    const { by } = show.dayOf(day);
    return duesOf({ by: by === null ? [] : [by], settings: file, rolls: [roll], now: seenAt }).of(roll);
  };
}
