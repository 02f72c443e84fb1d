/** A machine of the disturbed farm: its own network, mounts, processes, clock and state; the same host name as the others. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { packageFolder } from '../../files/installation.ts';
import { type Machine, startMachine } from '../support/farm.ts';
import type { Network } from '../support/network.ts';
import { isRunning, signal, treeOf } from '../support/processes.ts';

export interface ChaosMachine {
  /** Begins, and begins again after its plug was pulled. */
  start(): void;
  pullPlug(): void;
  isRunning(): boolean;
  freeze(): void;
  thaw(): void;
  /** Kills its processes whose command line has this; how many there were. */
  kill(having: RegExp): number;
  setClock(milliseconds: number): void;
  unmountTarget(): void;
  mountTarget(): void;
  readonly network: Network;
  readonly log: string;
}

export interface ChaosMachinePlan {
  readonly name: string;
  readonly queue: string;
  readonly folder: string;
  readonly network: Network;
  /** Where the run has its volumes; the machine mounts them elsewhere, and has nothing there. */
  readonly raid: string;
  readonly proxies: string;
}

const clockFile = pathToFileURL(join(packageFolder, 'test/chaos/shifted-clock.mjs')).href;

export function chaosMachine({
  name,
  queue,
  folder,
  network,
  raid,
  proxies,
}: ChaosMachinePlan): ChaosMachine {
  const [r, p, kept] = ['r', 'p', 'kept'].map((one) => join(folder, `${name}-${one}`)) as [
    string,
    string,
    string,
  ];
  for (const at of [r, p, kept]) mkdirSync(at);
  const clock = join(folder, `${name}.clock`);
  writeFileSync(clock, '0');
  let machine: Machine | null = null;
  const tree = (): number[] => (machine?.child.pid === undefined ? [] : treeOf(machine.child.pid));
  /** The first of its own processes, in whose mounts a command is run. */
  const inside = (...words: string[]): void => {
    const [, first] = tree();
    execFileSync('nsenter', ['-t', String(first), '-m', '-p', ...words]);
  };
  const commandLine = (pid: number): string => {
    try {
      return readFileSync(`/proc/${pid}/cmdline`, 'utf8').replaceAll('\0', ' ');
    } catch {
      // Ended meanwhile.
      return '';
    }
  };
  const start = (): void => {
    machine = startMachine({
      name,
      host: 'workstation',
      queue,
      folder,
      network: network.name,
      ownProcesses: true,
      mounts: [
        `mount --bind ${raid} ${r}`,
        `mount --bind ${proxies} ${kept}`,
        `mount --bind ${kept} ${p}`,
        `mount -t tmpfs none ${raid}`,
        `mount -t tmpfs none ${proxies}`,
      ].join('; '),
      words: ['--volumes', `raid=${r},proxies=${p}`],
      env: { NODE_OPTIONS: `--import=${clockFile}`, RUSHLIGHT_TEST_CLOCK: clock },
    });
  };
  return {
    start,
    pullPlug: () => void machine?.child.kill('SIGKILL'),
    isRunning: () => machine?.child.pid !== undefined && isRunning(machine.child.pid),
    freeze: () => signal(tree(), 'SIGSTOP'),
    thaw: () => signal(tree(), 'SIGCONT'),
    kill: (having) => {
      const found = tree().filter((pid) => having.test(commandLine(pid)));
      signal(found, 'SIGKILL');
      return found.length;
    },
    setClock: (milliseconds) => writeFileSync(clock, String(milliseconds)),
    unmountTarget: () => inside('umount', '-l', p),
    mountTarget: () => inside('mount', '--bind', kept, p),
    network,
    log: join(folder, name, 'work', 'local-1.log'),
  };
}
