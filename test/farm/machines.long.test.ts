/** Machines of a farm that lack a decoder, whose programs hang, that are cut off or frozen in mid-job. Namespaces of mounts, host names and networks, and a real Redis; some of it waits for locks of a minute. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { LOST_MACHINE_MILLISECONDS } from '../../coordinator/night/locks.ts';
import { startCli } from '../support/cli.ts';
import { makeDay, writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { linesOf, type LogLine, startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { essence, heldFfmpeg, processesWith, resultOf, runWords } from '../support/night.ts';
import { type Network, networksOf } from '../support/network.ts';
import { eventually, signal, treeOf } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';

test('a machine without a decoder makes everything else, and none of the clips that need it', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [day, delivery, tools] = [join(folder, 'day-11'), join(folder, 'delivery'), join(folder, 'tools')];
  mkdirSync(tools);
  mkdirSync(delivery);
  // Gives the sensor values of an uncompressed DNG in words of 16 bits, one strip (TIFF 6.0: tags 273 and 279).
  writeFileSync(
    join(tools, 'strips'),
    `#!/usr/bin/env node
const file = require('node:fs').readFileSync(process.argv[2]);
const entries = file.readUInt32LE(4);
const tag = (wanted) => { for (let index = 0; index < file.readUInt16LE(entries); index += 1) { const at = entries + 2 + index * 12; if (file.readUInt16LE(at) === wanted) return file.readUInt32LE(at + 8); } };
process.stdout.write(file.subarray(tag(273), tag(273) + tag(279)));
`,
    { mode: 0o755 },
  );
  writeFileSync(
    join(tools, 'strips.yaml'),
    "version: 1\nname: strips\nsummary: Sensor values of DNG frames\ntakes: { clips: frames, names: ['*.dng'] }\ncommand: [./strips, '{file}']\ngives: { samples: cfa16le }\n",
  );
  const settings = join(folder, 'show.yaml');
  writeFileSync(
    settings,
    "version: 1\nshow: { input: { name: aces2065-1 } }\ncameras: [{ name: A, known_by: { rolls: ['A*'] }, raw: { decoder: strips } }]\ndecoders: [tools/strips.yaml]\n",
  );
  for (const clip of ['A011C001', 'A011C002']) {
    const roll = join(day, 'A011', clip);
    mkdirSync(roll, { recursive: true });
    for (let frame = 0; frame < 3; frame += 1)
      writeFileSync(
        join(roll, `${clip}_${String(frame).padStart(6, '0')}.dng`),
        buildDng({
          width: 64,
          height: 48,
          samples: testSamples(64, 48, 12, frame + 1),
          bits: 12,
          words: true,
          rate: [24, 1],
          timecode: `0${clip.at(-1)}:00:00:${String(frame).padStart(2, '0')}`,
        }),
      );
  }
  writeMd5Manifest(join(day, 'A011'));
  await makeDay(day, { B001: { 'B001C001.mov': { frames: 12, size: '256x144' } } });
  const run = startCli(
    runWords(
      { day, delivery, work: join(folder, 'work'), profiles: ['grading-master-exr'] },
      ...['--settings', settings, '--queue', store.url, '--workers', '0', '--json'],
    ),
  );
  const without = startMachine({
    name: 'without',
    queue: store.url,
    folder,
    mounts: `mount -t tmpfs none ${tools}`,
  });
  // Alone: it makes what it can, and leaves the rest.
  await eventually(() => linesOf(without.log, 'done').length === 1, 120_000, 100);
  await eventually(() => without.said().includes('decoder-program-missing'), 60_000, 100);
  const fit = startMachine({ name: 'fit', queue: store.url, folder });
  const ended = await run.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(linesOf(without.log, 'begins').map(({ roll }) => roll)).toEqual(['B001']);
  expect(linesOf(fit.log, 'begins').map(({ roll }) => roll)).toEqual(['A011', 'A011']);
  expect(
    resultOf(ended.stdout).findings.map(({ code, file, found }) => [code, file, found.split(':')[0]]),
  ).toEqual([['machine-unfit', 'without', 'decoder-program-missing']]);
}, 300_000);

test('a machine whose ffmpeg does not answer starts nothing, says so, and takes part once it does', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [day, delivery] = [join(folder, 'day-03'), join(folder, 'delivery')];
  await makeDay(day, { A001: { 'A001C001.mov': { frames: 12, size: '256x144' } } });
  mkdirSync(delivery);
  const ffmpeg = join(folder, 'ffmpeg');
  writeFileSync(ffmpeg, '#!/bin/sh\nexec sleep 1000\n', { mode: 0o755 });
  const machine = startMachine({ name: 'north', queue: store.url, folder, words: ['--ffmpeg', ffmpeg] });
  const run = startCli(
    runWords(
      { day, delivery, work: join(folder, 'work') },
      ...['--queue', store.url, '--workers', '0', '--json'],
    ),
  );
  await eventually(() => machine.said().includes('tool-unusable'), 120_000, 100);
  expect(linesOf(machine.log, 'ready')).toEqual([]);
  writeFileSync(ffmpeg, '#!/bin/sh\nexec ffmpeg "$@"\n', { mode: 0o755 });
  const ended = await run.done;
  expect(ended.code, ended.stderr).toBe(0);
  expect(linesOf(machine.log, 'done')).toHaveLength(1);
  expect(resultOf(ended.stdout).findings.map(({ code, found }) => [code, found.split(':')[0]])).toEqual([
    ['machine-unfit', 'tool-unusable'],
  ]);
}, 300_000);

const someOf = (log: string, message: string): Promise<LogLine[]> =>
  eventually(
    () => {
      const found = linesOf(log, message);
      return found.length > 0 && found;
    },
    120_000,
    200,
  );

test.for(['cut off', 'frozen'] as const)(
  'a machine that is %s in mid-job publishes nothing; another one begins once the lock has run out, and the file is there once',
  { timeout: 400_000 },
  async (how, context) => {
    needsRoot(context);
    const folder = freshFolder('farm');
    const password = 'bronze-Glocke-7731';
    const store = await sharedRedis({ password, extra: ['--bind', '0.0.0.0'] });
    context.onTestFinished(() => store.stop());
    const network = networksOf(context, [`rl${process.pid}`])[0] as Network;
    const queue = store.url.replace('127.0.0.1', network.here);
    const [day, delivery] = [join(folder, 'day-03'), join(folder, 'delivery')];
    await makeDay(day, { A001: { 'A001C001.mov': { frames: 12, size: '256x144' } } });
    mkdirSync(delivery);
    const held = heldFfmpeg(folder);
    const words = held.words.slice(0, 2);
    const north = startMachine({ name: 'north', queue, folder, network: network.name, words });
    const run = startCli(
      runWords(
        { day, delivery, work: join(folder, 'work') },
        ...['--queue', store.url, '--workers', '0', '--json'],
      ),
    );
    // An encoder is at work there.
    await eventually(() => processesWith(join(delivery, 'day-03')).length > 0, 120_000, 200);
    const lostAt = Date.now();
    const tree = treeOf(north.child.pid as number);
    if (how === 'cut off') network.cut();
    else {
      // Whatever becomes of the test, it can be ended.
      context.onTestFinished(() => signal(tree, 'SIGCONT'));
      signal(tree, 'SIGSTOP');
    }
    const south = startMachine({ name: 'south', queue: store.url, folder });
    const [begins] = await someOf(south.log, 'begins');
    expect((begins?.time ?? 0) - lostAt).toBeLessThan(LOST_MACHINE_MILLISECONDS);
    if (how === 'cut off') {
      // By its own clock, while nobody can tell it anything: at 0.8 of a lock of a minute.
      const [ends] = await someOf(north.log, 'ends without its result');
      expect(String(ends?.error)).toContain('not renewed for');
      expect((ends?.time ?? 0) - lostAt).toBeLessThan(60_000);
      network.mend();
    } else signal(tree, 'SIGCONT');
    held.letGo();
    const ended = await run.done;
    expect(ended.code, ended.stderr).toBe(0);
    expect(linesOf(south.log, 'done')).toHaveLength(1);
    expect(linesOf(north.log, 'done')).toHaveLength(0);
    expect(Object.keys(essence(delivery)).filter((name) => name.includes('rushlight-part'))).toEqual([]);
  },
);
