/** Two runs at once on one delivery: the second says so and stops, or waits; status tells who is at work. */
import { existsSync, readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, expect, onTestFinished, test } from 'vitest';
import { runCli, startCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { encoding, heldFfmpeg, type NightFoldersForTest, resultOf, startNight } from '../support/night.ts';
import { eventually } from '../support/processes.ts';

const base = join(sharedFolder, 'two-runs');
const day = join(base, 'day-07');
const copy = join(base, 'copy', 'day-07');

beforeAll(async () => {
  await makeDay(day, { A001: { 'A001C001.mov': { frames: 24, size: '256x144' } } });
  copyDay(day, copy);
}, 60_000);

/** A run whose encoder waits until the test lets it go. */
function beginHeld(folders: NightFoldersForTest) {
  const held = heldFfmpeg(dirname(folders.work));
  const run = startNight(folders, ...held.words);
  onTestFinished(() => {
    held.letGo();
    run.child.kill('SIGKILL');
  });
  return { ...run, letGo: held.letGo };
}

test('the second run is refused and names the first, a third waits for it and makes nothing twice, and a clean end leaves no lease', async () => {
  const folder = freshFolder('two-runs');
  const of = (work: string) => ({ day, copy, delivery: join(folder, 'delivery'), work: join(folder, work) });
  const first = beginHeld(of('work-1'));
  await encoding(of('work-1'));
  const waiting = startNight(of('work-3'), '--wait-for-run');
  onTestFinished(() => void waiting.child.kill('SIGKILL'));
  const second = await startNight(of('work-2')).done;
  expect(second.code, second.stderr).toBe(2);
  expect(JSON.parse(second.stdout)).toMatchObject({
    kind: 'refusal',
    findings: [
      {
        code: 'delivery-in-use',
        found: expect.stringContaining(`process ${first.child.pid} on this machine`),
      },
    ],
  });
  const status = await runCli([
    'status',
    of('work-1').delivery,
    '--work',
    join(folder, 'elsewhere'),
    '--json',
  ]);
  expect(JSON.parse(status.stdout)).toMatchObject({ live: null, atWork: { state: 'alive' } });
  await eventually(() => waiting.said().includes('Waiting for another run in the delivery'), 60_000);
  const watched = startCli(['status', of('work-1').delivery, '--work', of('work-1').work, '--watch']);
  let shown = '';
  watched.child.stdout?.on('data', (text: string) => {
    shown += text;
  });
  onTestFinished(() => void watched.child.kill('SIGKILL'));
  await eventually(() => /^A001: making /m.test(shown), 60_000);
  first.letGo();
  const ended = await first.done;
  expect(ended.code, ended.stderr).toBe(0);
  const seen = await watched.done;
  expect(seen.code, seen.stderr).toBe(0);
  expect(seen.stdout).toContain('1 of 1 clip ready');
  expect(existsSync(join(of('work-1').work, 'progress.json'))).toBe(false);
  const third = await waiting.done;
  expect(third.code, third.stderr).toBe(0);
  expect(resultOf(third.stdout).rolls).toMatchObject([{ verdict: 'ready', made: 0, kept: 1 }]);
  expect(readdirSync(of('work-1').delivery).sort()).toEqual(['day-07', 'show.html', 'show.json']);
}, 240_000);
