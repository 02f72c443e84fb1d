/**
 * A night of short clips on a farm that is disturbed in every way at hand, in an order that a seed gives (RUSHLIGHT_CHAOS_SEED): at the end every
 * deliverable stands once, with the bytes of the undisturbed run, every roll has its verdict, nothing staged is left, and no encoder lives.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { expect, onTestFailed, test } from 'vitest';
import { LEASE_PREFIX } from '../../ledger/lease.ts';
import { runCli, type RunningCli, startCli } from '../support/cli.ts';
import { makeDay, type RollPlan } from '../support/day.ts';
import { startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { networksOf } from '../support/network.ts';
import { essence, processesWith, resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';
import { type ChaosStep, drawChaos } from './draw.ts';
import { type ChaosMachine, chaosMachine } from './machine.ts';

const seed = Number(process.env.RUSHLIGHT_CHAOS_SEED ?? 1);
const ROLLS = 5;
const CLIPS = 20;
const MACHINES = 2;
const TARGET_BYTES = 512 * 1024 * 1024;
const HOUR = 3_600_000;
const MINUTES = 60_000;

/** Every roll has clips of its own, or it would be held as another one's copy. */
function rollOf(roll: number): RollPlan {
  return Object.fromEntries(
    Array.from({ length: CLIPS }, (_, clip) => [
      `A00${roll}C${String(clip + 1).padStart(3, '0')}.mov`,
      { frames: 12, size: '256x144', timecode: `0${roll}:${String(clip).padStart(2, '0')}:00:00` },
    ]),
  );
}

test(
  `${ROLLS * CLIPS} clips on ${MACHINES} machines, disturbed by seed ${seed}`,
  async (context) => {
    needsRoot(context);
    const folder = freshFolder('chaos');
    const [raid, proxies] = [join(folder, 'raid'), join(folder, 'proxies')];
    for (const at of [raid, proxies]) mkdirSync(at);
    execFileSync('mount', ['-t', 'tmpfs', '-o', `size=${TARGET_BYTES}`, 'none', proxies]);
    context.onTestFinished(() => void execFileSync('umount', ['-l', proxies]));
    const day = join(raid, 'day-05');
    await makeDay(
      day,
      Object.fromEntries(Array.from({ length: ROLLS }, (_, index) => [`A00${index + 1}`, rollOf(index + 1)])),
    );
    for (const at of [raid, proxies]) expect((await runCli(['volume', 'init', at])).code).toBe(0);

    const undisturbed = join(folder, 'undisturbed');
    const alone = await runCli(runWords({ day, delivery: undisturbed, work: join(folder, 'alone') }));
    expect(alone.code, alone.stderr).toBe(0);

    const store = await sharedRedis({ password: 'bronze-Glocke-7731', extra: ['--bind', '0.0.0.0'] });
    context.onTestFinished(() => store.stop());
    const networks = networksOf(
      context,
      Array.from({ length: MACHINES }, (_, index) => `rc${process.pid}${index}`),
    );
    const machines = networks.map((network, index) =>
      chaosMachine({
        name: `m${index}`,
        queue: store.url.replace('127.0.0.1', network.here),
        ...{ folder, network, raid, proxies },
      }),
    );
    const delivery = join(proxies, 'night');
    const begun: RunningCli[] = [];
    const run = (): RunningCli => {
      const one = startCli(
        runWords(
          { day, delivery, work: join(folder, 'work') },
          ...['--volumes', `raid=${raid},proxies=${proxies}`],
          ...['--queue', store.url, '--workers', '0', '--json'],
        ),
      );
      begun.push(one);
      return one;
    };
    context.onTestFinished(() => void begun.at(-1)?.child.kill('SIGKILL'));
    const told: string[] = [];
    onTestFailed(() => console.error(told.join('\n'), begun.at(-1)?.said()));

    const published = (): number => {
      try {
        return readdirSync(delivery, { recursive: true }).filter(
          (path) => String(path).endsWith('.mov') && !String(path).includes('rushlight-part'),
        ).length;
      } catch {
        // Not made yet, or a folder that was renamed while it was listed.
        return 0;
      }
    };
    const undoing: Promise<void>[] = [];
    const later = (seconds: number | null, undo: () => void | Promise<void>): void => {
      undoing.push(new Promise((resolve) => setTimeout(resolve, 1000 * (seconds ?? 0))).then(undo));
    };
    let isStopped = false;
    const disturb = async ({ kind, machine: number, lastsSeconds }: ChaosStep): Promise<void> => {
      const machine = machines[number ?? 0] as ChaosMachine;
      // What was frozen or has no power is not disturbed further.
      await eventually(() => machine.isRunning(), 2 * MINUTES, 200);
      switch (kind) {
        case 'power-cut':
          machine.pullPlug();
          return later(lastsSeconds, machine.start);
        case 'worker-killed':
          return void machine.kill(/worker\/main/);
        case 'encoder-killed':
          return void machine.kill(/ffmpeg.*rushlight-part/);
        case 'coordinator-killed':
          isStopped = true;
          begun.at(-1)?.child.kill('SIGKILL');
          return later(lastsSeconds, () => {
            isStopped = false;
            run();
          });
        case 'store-killed':
          return await store.killAndStartAgain();
        case 'store-wiped':
          return void (await store.ask('FLUSHALL'));
        case 'frozen':
        case 'frozen-shortly':
          machine.freeze();
          return later(lastsSeconds, machine.thaw);
        case 'cut-off':
          machine.network.cut();
          return later(lastsSeconds, machine.network.mend);
        case 'hour-forward':
        case 'hour-back':
          machine.setClock(kind === 'hour-back' ? -HOUR : HOUR);
          return later(lastsSeconds, () => machine.setClock(0));
        case 'target-full': {
          const filler = join(proxies, 'somebody-elses.bin');
          // Until nothing more goes in, whoever writes there meanwhile.
          const { stderr } = spawnSync('dd', ['if=/dev/zero', `of=${filler}`, 'bs=64k'], {
            encoding: 'utf8',
          });
          expect(stderr).toContain('No space left on device');
          return later(lastsSeconds, () => rmSync(filler));
        }
        case 'target-unmounted':
          machine.unmountTarget();
          return later(lastsSeconds, () => {
            // Its plug may have been pulled meanwhile: then it has mounted everything anew.
            try {
              machine.mountTarget();
            } catch (error) {
              told.push(`not mounted again: ${String(error)}`);
            }
          });
        case 'unfit-machine':
          startMachine({
            name: 'unfit',
            host: 'workstation',
            queue: store.url,
            folder,
            words: ['--volumes', `raid=${raid}`],
          });
      }
    };

    for (const machine of machines) machine.start();
    run();
    const wanted = ROLLS * CLIPS;
    const ended = async (): Promise<Awaited<RunningCli['done']> | null> => {
      const one = begun.at(-1) as RunningCli;
      return one.child.exitCode === null ? null : await one.done;
    };
    /** A run that ended held, since the target was full or a job was tried too often, is begun again, as its user would. */
    const goOn = async (): Promise<void> => {
      const result = await ended();
      if (result === null || isStopped || result.code === 0) return;
      const why = result.stdout === '' ? result.stderr : resultOf(result.stdout).findings;
      told.push(`run ${begun.length} ended with ${result.code}: ${JSON.stringify(why).slice(0, 1000)}`);
      expect(begun.length).toBeLessThan(12);
      run();
    };
    for (const step of drawChaos(seed, MACHINES)) {
      await eventually(
        async () => {
          await goOn();
          return published() >= step.from * wanted;
        },
        10 * MINUTES,
        200,
      );
      told.push(`${new Date().toISOString()} ${published()} published: ${JSON.stringify(step)}`);
      await disturb(step);
    }
    await Promise.all(undoing);
    await eventually(
      async () => {
        await goOn();
        return (await ended())?.code === 0;
      },
      15 * MINUTES,
      500,
    );
    const result = resultOf((await (begun.at(-1) as RunningCli).done).stdout);
    console.error(told.join('\n'));

    expect(result.rolls.map(({ roll, verdict }) => [roll, verdict])).toEqual(
      Array.from({ length: ROLLS }, (_, index) => [`A00${index + 1}`, 'ready']),
    );
    // Leases of machines that died less than a minute ago are for the next run to sweep.
    const made = Object.entries(essence(delivery)).filter(([name]) => !name.startsWith(LEASE_PREFIX));
    expect(Object.fromEntries(made)).toEqual(essence(undisturbed));
    const audit = await runCli(['audit', delivery]);
    expect(audit.code, audit.stdout).toBe(0);
    for (const machine of machines) machine.pullPlug();
    expect(
      readdirSync(proxies, { recursive: true }).filter((path) => String(path).includes('rushlight-part')),
    ).toEqual([]);
    await eventually(() => processesWith('rushlight-part').length === 0, 30_000, 200);
  },
  45 * 60_000,
);
