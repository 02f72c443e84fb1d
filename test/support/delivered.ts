/** A day of one roll with two clips, and what a night delivered of it: made once for all test files, which copy it to change it. */
import { join } from 'node:path';
import { runCli } from './cli.ts';
import { makeDay } from './day.ts';
import { madeOnce, sharedFolder } from './folder.ts';
import { runWords } from './night.ts';

const base = join(sharedFolder, 'delivered');

export const delivered = {
  day: join(base, 'day-07'),
  delivery: join(base, 'delivery'),
  work: join(base, 'work'),
  /** Of the roll, below the delivery. */
  roll: join('day-07', 'A005'),
} as const;

export async function makeDelivered(): Promise<void> {
  await madeOnce(base, async () => {
    await makeDay(delivered.day, {
      A005: { 'A005C001.mov': { frames: 24 }, 'A005C002.mov': { frames: 12, timecode: '02:00:00:00' } },
    });
    const night = await runCli(runWords(delivered));
    if (night.code !== 0) throw new Error(night.stderr + night.stdout);
  });
}
