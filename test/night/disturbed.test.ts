/** Nights that are killed, wiped and interrupted in the middle come to the same bytes as one that nobody touched. */
import { existsSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { copyDay, makeDay } from '../support/day.ts';
import { readVerdict } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { encoding, essence, type NightFoldersForTest, processesWith, resultOf, slowFfmpeg, startNight, workerPid } from '../support/night.ts';
import { eventually, isRunning } from '../support/processes.ts';

const base = join(sharedFolder, 'disturbed');
const day = join(base, 'day-03');
const copy = join(base, 'copy', 'day-03');
let slow = '';
let undisturbed: Record<string, string> = {};

beforeAll(async () => {
  const clip = { frames: 24, size: '256x144' };
  await makeDay(day, { A001: { 'A001C001.mov': clip, 'A001C002.mov': { ...clip, timecode: '02:00:00:00' } }, B001: { 'B001C001.mov': { ...clip, rate: '25' } } });
  copyDay(day, copy);
  slow = slowFfmpeg(base, 1.5);
  const folders = { day, copy, delivery: join(base, 'delivery'), work: join(base, 'work') };
  const run = await startNight(folders, '--ffmpeg', slow).done;
  expect(run.code, run.stderr).toBe(0);
  undisturbed = essence(folders.delivery);
  expect(Object.keys(undisturbed)).toEqual(expect.arrayContaining(['day-03/A001/small-vc3/A001C001.mov', 'day-03/A001/small-vc3/A001C002.mov', 'day-03/B001/small-vc3/B001C001.mov']));
  expect(Object.keys(undisturbed)).toHaveLength(3);
}, 120_000);

function fresh(): NightFoldersForTest {
  const folder = freshFolder('night');
  return { day, copy, delivery: join(folder, 'delivery'), work: join(folder, 'work') };
}

async function expectWhole(folders: NightFoldersForTest): Promise<void> {
  expect(essence(folders.delivery)).toEqual(undisturbed);
  for (const roll of ['A001', 'B001']) expect((await readVerdict(folders.delivery, 'day-03', roll)).verdict).toBe('ready');
}

/** Everything that belongs to the night has gone: encoders, workers, store. */
async function expectNothingRuns(folders: NightFoldersForTest): Promise<void> {
  await eventually(() => processesWith(folders.delivery).length === 0 && processesWith(folders.work).length === 0, 15_000);
}

test('a worker killed in mid-night: its encoder goes with it, another takes the job up, the same night ends ready', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  const [encoder] = await encoding(folders);
  process.kill(workerPid(folders), 'SIGKILL');
  await eventually(() => !isRunning(encoder as number), 5_000);
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['worker-died']);
  await expectWhole(folders);
  await expectNothingRuns(folders);
}, 120_000);

test('the run killed in mid-night: worker, encoder and store go with it; a second run makes what is left', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await eventually(() => existsSync(join(folders.delivery, 'day-03/A001/small-vc3/A001C001.mov')), 30_000);
  await encoding(folders);
  const worker = workerPid(folders);
  night.child.kill('SIGKILL');
  await night.done;
  await eventually(() => !isRunning(worker), 10_000);
  await expectNothingRuns(folders);
  expect((await readVerdict(folders.delivery, 'day-03', 'A001')).verdict).toBe('held');
  const again = await startNight(folders, '--ffmpeg', slow).done;
  expect(again.code, again.stderr).toBe(0);
  const rolls = resultOf(again.stdout).rolls;
  expect(rolls.reduce((sum, roll) => sum + roll.kept, 0)).toBeGreaterThanOrEqual(1);
  expect(rolls.reduce((sum, roll) => sum + roll.kept + roll.made, 0)).toBe(3);
  await expectWhole(folders);
}, 120_000);

test('run and worker killed together, work folder deleted: a second run comes to the same bytes', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await encoding(folders);
  process.kill(workerPid(folders), 'SIGKILL');
  night.child.kill('SIGKILL');
  await night.done;
  await expectNothingRuns(folders);
  rmSync(folders.work, { recursive: true });
  const again = await startNight(folders).done;
  expect(again.code, again.stderr).toBe(0);
  await expectWhole(folders);
}, 120_000);

test('the store killed in mid-night costs nothing but seconds', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await encoding(folders);
  const stores = processesWith(join(folders.work, 'store')).filter((pid) => pid !== night.child.pid);
  expect(stores.length).toBeGreaterThan(0);
  for (const pid of stores) process.kill(pid, 'SIGKILL');
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['store-restarted']);
  await expectWhole(folders);
}, 120_000);

test('the store’s folder deleted in mid-night: what is not on disk is queued again', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await encoding(folders);
  rmSync(join(folders.work, 'store'), { recursive: true });
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['store-restarted']);
  await expectWhole(folders);
}, 120_000);

test('interrupted once, it ends what runs and begins nothing; the next run makes the rest', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await encoding(folders);
  night.child.kill('SIGINT');
  const ended = await night.done;
  expect(ended.code, ended.stderr).toBe(130);
  const result = resultOf(ended.stdout);
  expect(result.interrupted).toBe(true);
  expect(Object.keys(essence(folders.delivery))).toHaveLength(1);
  expect(result.rolls.flatMap((roll) => roll.findings.map((item) => item.code))).toContain('night-interrupted');
  await expectNothingRuns(folders);
  const again = await startNight(folders, '--ffmpeg', slow).done;
  expect(again.code, again.stderr).toBe(0);
  expect(resultOf(again.stdout).rolls.reduce((sum, roll) => sum + roll.kept, 0)).toBe(1);
  await expectWhole(folders);
}, 120_000);

test('interrupted twice, it stops at once and leaves nothing half made under a final name', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slowFfmpeg(freshFolder('slow'), 60));
  await encoding(folders);
  night.child.kill('SIGINT');
  await new Promise((resolve) => setTimeout(resolve, 300));
  night.child.kill('SIGINT');
  const stopped = performance.now();
  const ended = await night.done;
  expect(performance.now() - stopped).toBeLessThan(15_000);
  expect(ended.code, ended.stderr).toBe(130);
  await expectNothingRuns(folders);
  expect(Object.keys(essence(folders.delivery)).filter((path) => !path.includes('.rushlight-part-'))).toEqual([]);
  const again = await startNight(folders).done;
  expect(again.code, again.stderr).toBe(0);
  await expectWhole(folders);
}, 120_000);

test('a second run on the same work folder is refused and told who is at work; the first goes on', async () => {
  const folders = fresh();
  const night = startNight(folders, '--ffmpeg', slow);
  await encoding(folders);
  const second = await startNight(folders).done;
  expect(second.code).toBe(2);
  expect(JSON.parse(second.stdout)).toMatchObject({ kind: 'refusal', findings: [{ code: 'work-folder-in-use', found: expect.stringContaining(`process ${night.child.pid},`) }] });
  expect((await night.done).code).toBe(0);
  await expectWhole(folders);
}, 120_000);
