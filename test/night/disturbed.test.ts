/** Nights that are killed, wiped and interrupted in the middle come to the same bytes as one that nobody touched; on the built-in Redis. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import {
  encoding,
  processesWith,
  resultOf,
  RUNS_MILLISECONDS,
  startNight,
  workerPid,
} from '../support/night.ts';
import { everyRow } from '../support/lane.ts';
import { disturbedNights } from './disturbances.ts';

const { fresh, beginHeld, expectWhole, expectNothingRuns } = disturbedNights(
  { args: () => [], password: null },
  'all',
);

test(
  'a second run on the same work folder is refused and told who is at work; the first goes on, and its store killed in mid-night costs it nothing but seconds',
  async () => {
    const folders = fresh();
    const night = beginHeld(folders);
    await encoding(folders);
    const second = await startNight(folders).done;
    expect(second.code).toBe(2);
    expect(JSON.parse(second.stdout)).toMatchObject({
      kind: 'refusal',
      findings: [
        {
          code: 'work-folder-in-use',
          found: expect.stringContaining(`process ${night.child.pid} on this machine`),
        },
      ],
    });
    const stores = processesWith(join(folders.work, 'store')).filter((pid) => pid !== night.child.pid);
    expect(stores).not.toEqual([]);
    for (const pid of stores) process.kill(pid, 'SIGKILL');
    night.letGo();
    const ended = await night.done;
    expect(ended.code, ended.stderr).toBe(0);
    expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['store-restarted']);
    await expectWhole(folders);
  },
  RUNS_MILLISECONDS,
);

// With the store killed, above, in npm test.
const folderDeleted = async (): Promise<void> => {
  const folders = fresh();
  const night = beginHeld(folders);
  await encoding(folders);
  rmSync(join(folders.work, 'store'), { recursive: true });
  night.letGo();
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['store-restarted']);
  await expectWhole(folders);
};
if (everyRow)
  test(
    "the store's folder deleted in mid-night: what is not on disk is queued again",
    folderDeleted,
    RUNS_MILLISECONDS,
  );

// With the run killed and a work folder that is gone, each apart, in npm test.
const killedTogether = async (): Promise<void> => {
  const folders = fresh();
  const night = beginHeld(folders);
  await encoding(folders);
  process.kill(workerPid(folders), 'SIGKILL');
  night.child.kill('SIGKILL');
  await night.done;
  await expectNothingRuns(folders);
  rmSync(folders.work, { recursive: true });
  const again = await startNight(folders).done;
  expect(again.code, again.stderr).toBe(0);
  await expectWhole(folders);
};
if (everyRow)
  test(
    'run and worker killed together, work folder deleted: a second run comes to the same bytes',
    killedTogether,
    RUNS_MILLISECONDS,
  );
