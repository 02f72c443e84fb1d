/** Disturbances that every store takes the same way: a table of cases, run over the built-in Redis and over a shared one. */
import { existsSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, expect, onTestFailed, onTestFinished, test } from 'vitest';
import { CLAIMS_FOLDER } from '../../ledger/claims.ts';
import type { RunningCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { readVerdict } from '../support/delivery.ts';
import { freshFolder, madeOnce, sharedFolder } from '../support/folder.ts';
import {
  encoding,
  essence,
  type HeldFfmpeg,
  heldFfmpeg,
  type NightFoldersForTest,
  processesWith,
  resultOf,
  RUNS_MILLISECONDS,
  startNight,
  workerPid,
  ENCODING_MILLISECONDS,
} from '../support/night.ts';
import { eventually, isRunning } from '../support/processes.ts';

/** What ends with something else does so within a second; a machine that others keep busy takes longer to say so. */
const ENDING_MILLISECONDS = 30_000;

/** Where the queue is, as the cases need to know it. */
export interface QueuePlace {
  /** Options of the command line that lead there. */
  args(): readonly string[];
  /** Must not be read anywhere; null: there is none. */
  readonly password: string | null;
}

export interface DisturbedNights {
  /** Starts a night on the place; when it has ended, nothing that it said or left may hold the password. */
  begin(folders: NightFoldersForTest, ...more: string[]): RunningCli;
  fresh(): NightFoldersForTest;
  /** A night whose encodes wait until they are let go, but those of clips with this text in their name. */
  beginHeld(folders: NightFoldersForTest, but?: string): RunningCli & Pick<HeldFfmpeg, 'letGo'>;
  /** The bytes of an undisturbed night, and every roll ready. */
  expectWhole(folders: NightFoldersForTest): Promise<void>;
  /** Everything that belongs to the night has gone: encoders, workers, store. */
  expectNothingRuns(folders: NightFoldersForTest): Promise<void>;
}

function expectSecret(folders: NightFoldersForTest, password: string): void {
  for (const folder of [folders.work, folders.delivery]) {
    if (!existsSync(folder)) continue;
    for (const entry of readdirSync(folder, { recursive: true, withFileTypes: true })) {
      if (entry.isFile())
        expect(readFileSync(join(entry.parentPath, entry.name)).includes(password), entry.name).toBe(false);
    }
  }
}

/**
 * Declares the cases; further ones may be built from what it gives. `few`: those in which a store of another kind has a part of its own,
 * the others being decided by what lies on disk. Few clips and frames: what a night costs is programs started.
 */
export function disturbedNights(place: QueuePlace, cases: 'all' | 'few'): DisturbedNights {
  const base = join(sharedFolder, 'disturbed');
  const day = join(base, 'day-03');
  const copy = join(base, 'copy', 'day-03');
  const delivery = join(base, 'delivery');
  let undisturbed: Record<string, string> = {};

  const begin = (folders: NightFoldersForTest, ...more: string[]): RunningCli => {
    const night = startNight(folders, ...place.args(), ...more);
    const { password } = place;
    if (password === null) return night;
    const done = night.done.then((ended) => {
      expect(ended.stdout).not.toContain(password);
      expect(ended.stderr).not.toContain(password);
      expectSecret(folders, password);
      return ended;
    });
    return { ...night, done };
  };
  const beginHeld: DisturbedNights['beginHeld'] = (folders, but) => {
    const { words, letGo } = heldFfmpeg(dirname(folders.work), but);
    const night = begin(folders, ...words);
    onTestFailed(() => console.error(night.said()));
    // A test that failed before it let the encoder go must not leave a run that waits for ever; of one that has ended nothing is left to kill.
    onTestFinished(() => void night.child.kill('SIGKILL'));
    return { ...night, letGo };
  };
  const fresh = (): NightFoldersForTest => {
    const folder = freshFolder('night');
    return { day, copy, delivery: join(folder, 'delivery'), work: join(folder, 'work') };
  };
  const expectWhole = async (folders: NightFoldersForTest): Promise<void> => {
    expect(essence(folders.delivery)).toEqual(undisturbed);
    for (const roll of ['A001', 'B001'])
      expect((await readVerdict(folders.delivery, 'day-03', roll)).verdict).toBe('ready');
  };
  const expectNothingRuns = async (folders: NightFoldersForTest): Promise<void> => {
    await eventually(
      () => processesWith(folders.delivery).length === 0 && processesWith(folders.work).length === 0,
      ENDING_MILLISECONDS,
    );
  };

  beforeAll(async () => {
    // Once for all stores: without --queue, and every store must come to the bytes of that night.
    await madeOnce(base, async () => {
      const clip = { frames: 24, size: '256x144' };
      await makeDay(day, {
        A001: { 'A001C001.mov': clip },
        B001: { 'B001C001.mov': { ...clip, rate: '25' } },
      });
      copyDay(day, copy);
      const folders = { day, copy, delivery, work: join(base, 'work') };
      const run = await startNight(folders).done;
      expect(run.code, run.stderr).toBe(0);
      expect(resultOf(run.stdout).findings).toEqual([]);
      await expectNothingRuns(folders);
    });
    undisturbed = essence(delivery);
    expect(Object.keys(undisturbed).sort()).toEqual([
      'day-03/A001/small-vc3/A001C001.mov',
      'day-03/B001/small-vc3/B001C001.mov',
    ]);
  }, RUNS_MILLISECONDS);

  if (cases === 'few') return { begin, beginHeld, fresh, expectWhole, expectNothingRuns };

  test(
    'a worker killed in mid-night: its encoder goes with it, another takes the job up, the same night ends ready',
    async () => {
      const folders = fresh();
      const night = beginHeld(folders);
      const [encoder] = await encoding(folders);
      process.kill(workerPid(folders), 'SIGKILL');
      await eventually(() => !isRunning(encoder as number), ENDING_MILLISECONDS);
      night.letGo();
      const ended = await night.done;
      expect(ended.code, ended.stderr).toBe(0);
      expect(resultOf(ended.stdout).findings.map((item) => item.code)).toEqual(['worker-died']);
      await expectWhole(folders);
      await expectNothingRuns(folders);
    },
    RUNS_MILLISECONDS,
  );

  test(
    'the run killed in mid-night: worker, encoder and store go with it; a second run goes on at once and makes what is left',
    async () => {
      const folders = fresh();
      const night = beginHeld(folders, 'A001C001');
      await eventually(
        () => existsSync(join(folders.delivery, 'day-03/A001/small-vc3/A001C001.mov')),
        ENCODING_MILLISECONDS,
      );
      await encoding(folders);
      const worker = workerPid(folders);
      night.child.kill('SIGKILL');
      await night.done;
      await eventually(() => !isRunning(worker), ENDING_MILLISECONDS);
      await expectNothingRuns(folders);
      expect((await readVerdict(folders.delivery, 'day-03', 'B001')).verdict).toBe('held');
      expect(readdirSync(folders.delivery)).toContain('.rushlight-lease-run-1');
      const again = await begin(folders).done;
      expect(again.code, again.stderr).toBe(0);
      // Nothing had to be watched for a minute.
      expect(again.stderr).not.toContain('Looking for up to a minute');
      // On a farm the numbers that were taken stay: a machine that thaws later still reads them.
      expect(
        readdirSync(folders.delivery)
          .filter((name) => name !== CLAIMS_FOLDER)
          .sort(),
      ).toEqual(['day-03', 'show.html', 'show.json']);
      const rolls = resultOf(again.stdout).rolls;
      expect(rolls.map(({ roll, kept, made }) => [roll, kept, made])).toEqual([
        ['A001', 1, 0],
        ['B001', 0, 1],
      ]);
      await expectWhole(folders);
    },
    RUNS_MILLISECONDS,
  );

  test(
    'interrupted twice, it stops at once and leaves nothing half made under a final name; interrupted once, the next run, which has no work folder, ends what runs and begins nothing; the one after it makes the rest',
    async () => {
      const folders = fresh();
      const first = beginHeld(folders);
      await encoding(folders);
      first.child.kill('SIGINT');
      await eventually(() => /^Interrupted/m.test(first.said()), ENDING_MILLISECONDS);
      first.child.kill('SIGINT');
      const asked = performance.now();
      const stopped = await first.done;
      expect(performance.now() - asked).toBeLessThan(45_000);
      expect(stopped.code, stopped.stderr).toBe(130);
      await expectNothingRuns(folders);
      expect(
        Object.keys(essence(folders.delivery)).filter((path) => !path.includes('.rushlight-part-')),
      ).toEqual([]);
      rmSync(folders.work, { recursive: true });
      const night = beginHeld(folders);
      await encoding(folders);
      night.child.kill('SIGINT');
      await eventually(() => /^Interrupted/m.test(night.said()), ENDING_MILLISECONDS);
      night.letGo();
      const ended = await night.done;
      expect(ended.code, ended.stderr).toBe(130);
      const result = resultOf(ended.stdout);
      expect(result.interrupted).toBe(true);
      expect(Object.keys(essence(folders.delivery))).toHaveLength(1);
      expect(result.rolls.flatMap((roll) => roll.findings.map((item) => item.code))).toContain(
        'run-interrupted',
      );
      await expectNothingRuns(folders);
      const again = await begin(folders).done;
      expect(again.code, again.stderr).toBe(0);
      expect(resultOf(again.stdout).rolls.reduce((sum, roll) => sum + roll.kept, 0)).toBe(1);
      await expectWhole(folders);
    },
    RUNS_MILLISECONDS,
  );

  return { begin, beginHeld, fresh, expectWhole, expectNothingRuns };
}
