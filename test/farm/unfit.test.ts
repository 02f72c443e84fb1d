/** A farm of one machine that is fit and many that are not, each for another reason: the night is the fit one's, and whole. Machines are mount and UTS namespaces with a real Redis. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { makeDay } from '../support/day.ts';
import { linesOf, type MachinePlan, startMachine } from '../support/farm.ts';
import { runCli, startCli } from '../support/cli.ts';
import { freshFolder } from '../support/folder.ts';
import { resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';

const begun = (log: string): number => linesOf(log, 'begins').length;

test('six clips are made by the machine that is fit; five that are not begin none of them, and the run and status say why', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [day, delivery, work] = ['day-03', 'delivery', 'work'].map((name) => join(folder, name)) as [
    string,
    string,
    string,
  ];
  const clip = { frames: 12, size: '256x144' };
  await makeDay(day, {
    A001: Object.fromEntries(
      Array.from({ length: 6 }, (_, index) => [
        `A001C00${index + 1}.mov`,
        { ...clip, timecode: `0${index + 1}:00:00:00` },
      ]),
    ),
  });
  mkdirSync(delivery);
  const program = (name: string, text: string): string => {
    const path = join(folder, name);
    writeFileSync(path, `#!/bin/sh\n${text}\n`, { mode: 0o755 });
    return path;
  };
  const scratch = join(folder, 'scratch');
  mkdirSync(scratch);
  const unfit: Readonly<Record<string, Omit<MachinePlan, 'name' | 'queue' | 'folder'> & { code: string }>> = {
    'without-source': { code: 'source-missing', mounts: `mount -t tmpfs none ${day}` },
    'other-target': { code: 'target-is-another', mounts: `mount -t tmpfs none ${delivery}` },
    'read-only-target': {
      code: 'target-read-only',
      mounts: `mount --bind ${delivery} ${delivery}; mount -o remount,ro,bind ${delivery}`,
    },
    'other-build': {
      code: 'toolchain-differs',
      words: [
        '--ffmpeg',
        program(
          'other-ffmpeg',
          'case "$*" in -version) ffmpeg "$@" | sed "s/built with/built by/" ;; *) exec ffmpeg "$@" ;; esac',
        ),
      ],
    },
    'full-scratch': {
      code: 'scratch-full',
      mounts: `mount -t tmpfs -o size=1m none ${scratch}`,
      env: { TMPDIR: scratch },
    },
  };
  const machines = Object.entries(unfit).map(([name, { code, ...plan }]) => ({
    name,
    code,
    machine: startMachine({ name, queue: store.url, folder, ...plan }),
  }));
  const run = startCli(runWords({ day, delivery, work }, '--queue', store.url, '--workers', '0', '--json'));
  // The fit one comes last: the others have all the time to take what is not for them.
  await eventually(
    () => machines.every(({ machine, code }) => machine.said().includes(`${code}:`)),
    120_000,
    100,
  );
  const fit = startMachine({ name: 'fit', queue: store.url, folder });
  const ended = await run.done;
  expect(ended.code, ended.stderr).toBe(0);
  const result = resultOf(ended.stdout);
  expect(result.rolls.map(({ roll, verdict, clipsReady }) => [roll, verdict, clipsReady])).toEqual([
    ['A001', 'ready', 6],
  ]);
  expect(begun(fit.log)).toBe(6);
  expect(machines.map(({ name, machine }) => [name, begun(machine.log)])).toEqual(
    machines.map(({ name }) => [name, 0]),
  );
  const told = result.findings.filter(({ code }) => code === 'machine-unfit');
  expect(told.map(({ file, found }) => [file, found.split(':')[0]]).sort()).toEqual(
    machines.map(({ name, code }) => [name, code]).sort(),
  );
  const status = await runCli(['status', delivery, '--work', work]);
  for (const { name, code } of machines)
    expect(status.stdout).toMatch(
      new RegExp(`Machine ${name} .*: takes none: it is not fit\n +\\[${code}\\]`),
    );
  expect(status.stdout).toMatch(/Machine fit .*, 1 worker: takes jobs\n/);
}, 240_000);

test('when no machine is fit, the run waits as long as its patience lasts, and names each with its reason', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [day, delivery] = [join(folder, 'day-03'), join(folder, 'delivery')];
  await makeDay(day, { A001: { 'A001C001.mov': { frames: 12, size: '256x144' } } });
  mkdirSync(delivery);
  startMachine({ name: 'north', queue: store.url, folder, mounts: `mount -t tmpfs none ${day}` });
  const words = runWords(
    { day, delivery, work: join(folder, 'work') },
    ...['--queue', store.url, '--workers', '0', '--patience-seconds', '4', '--json'],
  );
  const ended = await runCli(words);
  expect(ended.code, ended.stderr).toBe(1);
  const result = resultOf(ended.stdout);
  const none = result.findings.find(({ code }) => code === 'no-machine-fits');
  expect(none?.found).toMatch(/^1 jobs wait, no fit machine for .*; north: source-missing: ENOENT/);
  expect(result.rolls[0]?.findings.map(({ code }) => code)).toContain('no-machine-fits');
}, 120_000);
