/** A night that is ended in the middle of a clip that is cut: the next one finds what is finished, makes what lacks, and joins the very file that is made whole. */
import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, onTestFinished, test } from 'vitest';
import { layout } from '../../ledger/layout.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { sharedFolder } from '../support/folder.ts';
import {
  essence,
  nightCommand,
  type NightFoldersForTest,
  processesWith,
  resultOf,
  RUNS_MILLISECONDS,
  startNight,
} from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { commandProcess } from '../support/cli.ts';

const OF = 5;
const command = commandProcess();

/** ffmpeg that writes down each command that encodes or joins, and holds from the `hold`th on those that come until it is let go. */
function countingFfmpeg(folder: string, hold: number) {
  const [path, log, open] = ['ffmpeg', 'log', 'let-go'].map((name) => join(folder, name)) as [
    string,
    string,
    string,
  ];
  writeFileSync(log, '');
  writeFileSync(
    path,
    [
      '#!/bin/sh',
      // The checks read what was made: they are not counted.
      'last=; for one in "$@"; do case "$last $one" in "-i file:"*.rushlight-part-*) exec ffmpeg "$@" ;; esac; last=$one; done',
      'case "$*" in *.rushlight-part-*-progress*|*-progress*.rushlight-part-*)',
      `  echo made >> '${log}'`,
      `  if [ $(wc -l < '${log}') -ge ${hold} ]; then while [ ! -e '${open}' ]; do sleep 0.1; done; fi ;;`,
      'esac',
      'exec ffmpeg "$@"',
      '',
    ].join('\n'),
  );
  chmodSync(path, 0o755);
  const count = (): number => readFileSync(log, 'utf8').split('\n').length - 1;
  return { words: ['--ffmpeg', path], count, letGo: () => writeFileSync(open, '') };
}

let day: string;
let base: string;
let whole: Record<string, string>;

beforeAll(async () => {
  base = mkdtempSync(join(sharedFolder, 'segments-interrupted-'));
  day = await makeDay(join(base, 'day-03'), { A001: { 'A001C001.mov': { frames: 60, codec: 'h264' } } });
  const folders = { day, copy: copyDay(day, join(base, 'copy', 'day-03')) };
  const delivery = join(base, 'whole');
  const night = await command(
    nightCommand({ ...folders, delivery, work: join(base, 'work') }, '--segments', 'never'),
  );
  expect(resultOf(night.stdout).verdict).toBe('ready');
  whole = essence(delivery);
}, RUNS_MILLISECONDS);

/** Names of what lies there of segments; none: nothing of the roll does. */
function lyingIn(delivery: string): string[] {
  const folder = layout.segmentsFolder(layout.rollFolder(delivery, 'day-03', 'A001'));
  return existsSync(folder) ? readdirSync(folder) : [];
}

test.each([
  ['is asked to end', 'SIGTERM', 2],
  ['is killed', 'SIGKILL', 3],
] as const)(
  'a run that %s in its third segment: the next one makes those that lack, once each, and joins all',
  async (_, signal, lack) => {
    const root = mkdtempSync(join(base, `${signal}-`));
    const folders: NightFoldersForTest = {
      day,
      copy: join(base, 'copy', 'day-03'),
      delivery: join(root, 'delivery'),
      work: join(root, 'work'),
    };
    const { words, count, letGo } = countingFfmpeg(root, 3);
    const more = [...words, '--segments', String(OF), '--workers', '1'];
    const night = startNight(folders, ...more);
    onTestFinished(() => void night.child.kill('SIGKILL'));
    await eventually(() => count() === 3, RUNS_MILLISECONDS, 100);
    night.child.kill(signal);
    if (signal === 'SIGTERM') {
      await eventually(() => night.said().includes('finishing running jobs'), RUNS_MILLISECONDS, 50);
      letGo();
    }
    await night.done;
    await eventually(() => processesWith(join(folders.delivery, '')).length === 0, RUNS_MILLISECONDS, 100);
    letGo();
    expect(lyingIn(folders.delivery).filter((name) => name.startsWith('A001C001.'))).toHaveLength(OF - lack);
    // Of a cut that nobody asks for: it belongs to nobody.
    const foreign = join(
      layout.segmentsFolder(layout.rollFolder(folders.delivery, 'day-03', 'A001')),
      'A001C001.0123456789abcdef.0',
    );
    mkdirSync(foreign);
    const before = count();
    const second = await command(nightCommand(folders, ...words, '--workers', '1', '--segments', 'auto'));
    expect(second.code, second.stderr).toBe(0);
    expect(resultOf(second.stdout).verdict).toBe('ready');
    // Each lacking segment, and what joins all.
    expect(count() - before).toBe(lack + 1);
    expect(essence(folders.delivery)).toEqual(whole);
    expect(lyingIn(folders.delivery)).toEqual([]);
  },
  RUNS_MILLISECONDS,
);
