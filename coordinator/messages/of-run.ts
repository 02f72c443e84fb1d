/** Messages of a plain run: what waits for a receiver lies in the work folder, and the next run sends it. */
import { join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { NightFolders } from '../roll/folders.ts';
import { watchLateness } from './of-night.ts';
import { openOutbox } from './outbox.ts';
import { readReceivers, sendersOf } from './read.ts';
import { newTeller, type Teller } from './tell.ts';

export interface RunMessages {
  readonly teller: Teller;
  begin(forecast: () => NightForecast | null): void;
  /** Waits for so long at most, once; gives what was not sent by then, or never. */
  end(milliseconds: number): Promise<readonly Finding[]>;
}

/** Throws FindingError (exit 2). */
export async function messagesOf(
  file: string,
  { work, delivery, dayName }: Pick<NightFolders, 'work' | 'delivery' | 'dayName'>,
): Promise<RunMessages> {
  const senders = await sendersOf(await readReceivers(file));
  const failures = new Map<string, string>();
  const outbox = await openOutbox({
    ...{ folder: join(work, 'messages'), senders },
    onFailure: (receiver, why) => void failures.set(receiver, why),
  });
  const teller = newTeller(outbox);
  let lateness: { end(): void } | undefined;
  let ended = false;
  return {
    teller,
    begin(forecast) {
      lateness = watchLateness(forecast, (roll, why) =>
        teller.late({ day: dayName, delivery, show: null }, roll, why),
      );
    },
    async end(milliseconds) {
      if (ended) return [];
      ended = true;
      lateness?.end();
      await outbox.end(milliseconds);
      const { waiting, failed, dropped } = outbox.counts;
      if (waiting + failed + dropped === 0) return [];
      const why = [...failures].map(([receiver, reason]) => `${receiver}: ${reason}`).join('; ');
      const found = `${waiting} wait, ${failed + dropped} given up${why === '' ? '' : `; ${why}`}`;
      return [finding('message-not-sent', found, 'every message taken')];
    },
  };
}
