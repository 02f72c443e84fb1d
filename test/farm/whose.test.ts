/** Whose trouble it was: what one machine says of a clip another one must say too, what ends workers on two machines is the clip's, and a farm of one machine comes to an end. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, type TestContext, test } from 'vitest';
import type { NightResult } from '../../coordinator/night/request.ts';
import { startCli } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { linesOf, type LogLine, startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';

interface Farm {
  readonly folder: string;
  readonly queue: string;
  readonly roll: string;
  /** Mounts in which these clips are not in the roll. */
  without(machine: string, ...clips: readonly string[]): string;
  readonly result: Promise<NightResult>;
}

/** A run on a day of so many clips that has no workers of its own. */
async function farmOf(context: TestContext, clips: number): Promise<Farm> {
  needsRoot(context);
  const folder = freshFolder('farm');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const day = join(folder, 'day-03');
  const roll = join(day, 'A001');
  const names = Array.from({ length: clips }, (_, index) => `A001C00${index + 1}.mov`);
  const clip = { frames: 12, size: '256x144' };
  await makeDay(day, {
    A001: Object.fromEntries(
      names.map((name, index) => [name, { ...clip, timecode: `0${index + 1}:00:00:00` }]),
    ),
  });
  const delivery = join(folder, 'delivery');
  mkdirSync(delivery);
  const words = runWords(
    { day, delivery, work: join(folder, 'work') },
    ...['--queue', store.url, '--workers', '0', '--json'],
  );
  const run = startCli(words);
  return {
    folder,
    queue: store.url,
    roll,
    without: (machine, ...hidden) => {
      const copy = join(folder, `roll-of-${machine}`);
      return `cp -a ${roll} ${copy}; rm ${hidden.map((name) => join(copy, name)).join(' ')}; mount --bind ${copy} ${roll}`;
    },
    result: run.done.then((ended) => resultOf(ended.stdout)),
  };
}

const begunOf = (log: string): LogLine[] => linesOf(log, 'begins');
const clipOf = (text: string | undefined): string => (text ?? '').slice(0, 8);

/** Of each clip the codes that hold it. */
function heldBy(result: NightResult): Record<string, string[]> {
  const held: Record<string, string[]> = {};
  for (const { clip, code } of result.rolls[0]?.findings ?? [])
    if (clip !== undefined) held[clipOf(clip)] = [...new Set([...(held[clipOf(clip)] ?? []), code])];
  return held;
}

function program(folder: string, name: string, text: string): string {
  const path = join(folder, name);
  writeFileSync(path, `#!/bin/sh\n${text}\nexec ffmpeg "$@"\n`, { mode: 0o755 });
  return path;
}
const ENCODES = (clip: string): string => `*${clip}*.rushlight-part-*`;

test('a clip that one machine cannot read, or hangs at, is made by another one; one that both cannot read is held', async (context) => {
  const farm = await farmOf(context, 4);
  const { folder, queue } = farm;
  const north = startMachine({
    name: 'north',
    queue,
    folder,
    mounts: farm.without('north', 'A001C001.mov', 'A001C003.mov'),
    words: [
      ...['--stall-seconds', '2'],
      ...['--ffmpeg', program(folder, 'hangs', `case "$*" in ${ENCODES('A001C002')}) sleep 60 ;; esac`)],
    ],
  });
  // First alone: it is offered what it cannot do.
  await eventually(() => north.said().includes('source-missing'), 60_000, 50);
  startMachine({ name: 'south', queue, folder, mounts: farm.without('south', 'A001C003.mov') });
  const result = await farm.result;
  expect(heldBy(result)).toEqual({ A001C003: ['source-missing'] });
  expect(result.rolls[0]?.clipsReady).toBe(3);
  const told = result.findings.filter(({ code }) => code === 'machine-set-aside');
  expect(told.map(({ file, found }) => [file, found.split(':')[0]])).toContainEqual([
    'north',
    'source-missing',
  ]);
  expect(result.findings.map(({ code }) => code)).not.toContain('job-without-result');
}, 240_000);

test('on a farm of one machine its own second word is enough: the clip is held, the others are ready', async (context) => {
  const farm = await farmOf(context, 2);
  const { folder, queue } = farm;
  const only = startMachine({ name: 'only', queue, folder, mounts: farm.without('only', 'A001C001.mov') });
  const result = await farm.result;
  expect(heldBy(result)).toEqual({ A001C001: ['source-missing'] });
  expect(result.rolls[0]?.clipsReady).toBe(1);
  const tried = begunOf(only.log).filter(({ clip }) => clipOf(String(clip)) === 'A001C001');
  expect(tried).toHaveLength(2);
}, 240_000);

test('a clip that ends workers on two machines is held, and no worker of a third dies of it; what a dead one held is given back at once', async (context) => {
  const farm = await farmOf(context, 2);
  const { folder, queue } = farm;
  // The shell that ties a program to its worker is its parent; the worker is that one's.
  const kills = program(
    folder,
    'kills',
    `case "$*" in ${ENCODES('A001C001')}) kill -9 $(ps -o ppid= -p $PPID); sleep 5 ;; esac`,
  );
  const machines = ['north', 'south', 'east'].map((name) =>
    startMachine({ name, queue, folder, words: ['--ffmpeg', kills] }),
  );
  const result = await farm.result;
  expect(heldBy(result)).toEqual({ A001C001: ['job-ends-workers'] });
  expect(result.rolls[0]?.clipsReady).toBe(1);
  const starts = machines
    .flatMap(({ log }) => begunOf(log))
    .filter(({ clip }) => clipOf(String(clip)) === 'A001C001')
    .sort((a, b) => a.time - b.time);
  // Two deaths on two machines, or three on one; then one start that only writes down why.
  expect(starts.length).toBeGreaterThanOrEqual(3);
  expect(starts.length).toBeLessThanOrEqual(4);
  // A lock of a farm lasts a minute.
  for (const [index, { time }] of starts.entries())
    if (index > 0) expect(time - (starts[index - 1]?.time ?? 0)).toBeLessThan(30_000);
}, 240_000);
