/** A clip at which every worker dies is held; the clips beside it and the rolls behind it are made. */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { copyDay, makeDay } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';
import { resultOf, startNight } from '../support/night.ts';

test('three workers are lost at one clip: it is held and says so, the others are ready', async () => {
  const folder = freshFolder('night');
  const folders = {
    day: join(folder, 'day-03'),
    copy: join(folder, 'copy', 'day-03'),
    delivery: join(folder, 'delivery'),
    work: join(folder, 'work'),
  };
  const clip = { frames: 24, size: '256x144' };
  await makeDay(folders.day, {
    A001: { 'A001C001.mov': clip, 'A001C002.mov': { ...clip, timecode: '02:00:00:00' } },
    B001: { 'B001C001.mov': { ...clip, rate: '25' } },
  });
  copyDay(folders.day, folders.copy);
  // The shell that ties a program to its worker is its parent; the worker is that one's.
  const ffmpeg = join(folder, 'ffmpeg');
  writeFileSync(
    ffmpeg,
    '#!/bin/sh\ncase "$*" in *A001C001*.rushlight-part-*) kill -9 $(ps -o ppid= -p $PPID); sleep 5 ;; esac\nexec ffmpeg "$@"\n',
    { mode: 0o755 },
  );
  const ended = await startNight(folders, '--ffmpeg', ffmpeg).done;
  expect(ended.code, ended.stderr).toBe(1);
  const result = resultOf(ended.stdout);
  expect(result.findings.map(({ code }) => code)).toEqual(['worker-died', 'worker-died', 'worker-died']);
  expect(result.rolls.map(({ roll, verdict }) => [roll, verdict])).toEqual([
    ['A001', 'held'],
    ['B001', 'ready'],
  ]);
  expect(
    result.rolls[0]?.findings
      .filter(({ code }) => code === 'job-ends-workers')
      .map(({ clip: id, found }) => [id?.slice(0, 8), found]),
  ).toEqual([['A001C001', '3 workers died while they worked on it']]);
  // None of its locks was waited for.
  const logs = join(folders.work, 'logs');
  const log = readdirSync(logs).find((name) => name.startsWith('night-')) as string;
  expect(readFileSync(join(logs, log), 'utf8').match(/given back: its worker has ended/g)).toHaveLength(3);
}, 240_000);
