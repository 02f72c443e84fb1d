/** Queueing 10 000 clips into the built-in Redis, facts and profiles in each job as in a real night. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { jobId } from '../../coordinator/dispatch/flow.ts';
import { openNightQueue } from '../../coordinator/dispatch/night-queue.ts';
import { startPrivateStore } from '../../coordinator/store/private.ts';
import { jobOf } from '../support/jobs.ts';
import type { BenchLine } from './line.ts';

const CLIPS = 10_000;
const ROLLS = 20;

export async function benchQueue(): Promise<BenchLine[]> {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  const nothing = (): void => undefined;
  const store = startPrivateStore(folder, { onRestart: nothing, onLost: nothing });
  try {
    await store.ready;
    const run = 'bench-run';
    const queue = await openNightQueue(
      store.address,
      { night: 'night', run, farm: null },
      {
        active: nothing,
        progress: nothing,
        ended: nothing,
        rollEnded: nothing,
        failure: nothing,
      },
    );
    const ids: string[] = [];
    const started = performance.now();
    for (let roll = 0; roll < ROLLS; roll += 1) {
      const jobs = Array.from({ length: CLIPS / ROLLS }, (_, index) => {
        const number = roll * (CLIPS / ROLLS) + index;
        ids.push(jobId(run, number, 1));
        return {
          id: jobId(run, number, 1),
          job: jobOf(number, run, ['cut', 'look', 'review']),
          priority: 1000,
        };
      });
      await queue.add(`R${roll}`, jobs);
    }
    const seconds = (performance.now() - started) / 1000;
    const askedAt = performance.now();
    const states = await queue.statesOf(ids);
    const asked = (performance.now() - askedAt) / 1000;
    const waiting = [...states.values()].filter((state) => state === 'prioritized').length;
    await queue.close();
    return [
      {
        name: `queue ${CLIPS} clips`,
        measured: `${seconds.toFixed(1)} s, ${waiting} wait`,
        target: 'under 30 s, all wait',
        passed: seconds < 30 && waiting === CLIPS,
      },
      {
        name: `ask for the state of ${CLIPS} jobs`,
        measured: `${asked.toFixed(2)} s`,
        target: 'reported',
        passed: null,
      },
    ];
  } finally {
    await store.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}
