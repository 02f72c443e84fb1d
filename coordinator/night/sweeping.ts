/**
 * What dead machines left unfinished in the delivery, swept by the run that holds its lease. What a living process of any
 * machine makes is never touched: its worker's lease grows, or its process lives here. What a report waits for as
 * `publishing` stays as well: its clip's job publishes it, or makes it again, after which nothing waits for it.
 */
import { readdir, rm, unlink } from 'node:fs/promises';
import { setTimeout as sleep } from 'node:timers/promises';
import { basename, dirname, join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { fsPath } from '../../files/names.ts';
import {
  judgeLeftover,
  type LeaseState,
  type LeftoverState,
  sight,
  type Sighting,
  workerLeaseName,
  workerOfLease,
} from '../../ledger/lease.ts';
import { type LeaseTiming, type LeaseWatch, realTiming, watchLeases } from '../../ledger/lease-file.ts';
import { ownerName, ownerOfName, ownerOfStaged, ownerState } from '../../ledger/owner.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { awaitedNames } from '../../ledger/sidecars.ts';
import { readRecord } from '../../ledger/store.ts';
import { unfinishedBelow, workOn } from '../../ledger/unfinished.ts';
import type { DeliveryHold } from './delivery-hold.ts';

export interface Sweep {
  /** Looks at everything once, sweeps what is left by the dead, gives what lies there still, and how it stands with it. */
  once(): Promise<ReadonlyMap<string, LeftoverState>>;
}

/** `mayRemove` is asked before each removal. */
export function newSweep(
  delivery: string,
  mayRemove: () => boolean,
  log: (message: string, fields: Record<string, unknown>) => void,
  watch: LeaseWatch = watchLeases(),
): Sweep {
  const { now, deadMilliseconds } = watch.timing;
  let files = new Map<string, Sighting>();

  const leaseOf = async (name: string): Promise<LeaseState> =>
    (await watch.look(join(delivery, workerLeaseName(name)))).state;

  async function stateOf(path: string, content: string): Promise<LeftoverState> {
    const sighting = sight(files.get(path), content, now());
    files.set(path, sighting);
    const owner = ownerOfStaged(basename(path));
    const lease: LeaseState = owner === null ? { state: 'absent' } : await leaseOf(ownerName(owner));
    return judgeLeftover(owner === null ? null : ownerState(owner), lease, sighting, {
      now: now(),
      deadMilliseconds,
    });
  }

  async function sweepLeases(inUse: ReadonlySet<string>): Promise<void> {
    for (const name of await readdir(fsPath(delivery))) {
      const owner = workerOfLease(name);
      // While a file of its owner lies there, the lease is what the file is judged by.
      if (owner === null || ownerOfName(owner) === null || inUse.has(owner)) continue;
      const state = await leaseOf(owner);
      if (state.state === 'dead' && mayRemove()) {
        await unlink(fsPath(join(delivery, name))).then(
          () => log('swept the lease of a worker that is dead', { name, why: state.why }),
          (error: unknown) =>
            log('could not sweep the lease of a worker that is dead', { name, error: String(error) }),
        );
      }
    }
  }

  return {
    async once() {
      const left = new Map<string, LeftoverState>();
      const paths = await unfinishedBelow(delivery);
      files = new Map([...files].filter(([path]) => paths.includes(path)));
      const owners = new Set<string>();
      for (const path of paths) {
        const content = await workOn(path);
        if (content === null) continue;
        const state = await stateOf(path, content);
        // Asked after its maker was seen dead: what that one reported is on disk by then.
        if (state === 'left' && !(await isAwaited(path)) && mayRemove()) {
          await rm(fsPath(path), { recursive: true, force: true });
          log('swept what a dead process left', { path });
          continue;
        }
        left.set(path, state);
        const owner = ownerOfStaged(basename(path));
        if (owner !== null) owners.add(ownerName(owner));
      }
      await sweepLeases(owners);
      return left;
    },
  };
}

/** A report of its roll waits for it. */
async function isAwaited(path: string): Promise<boolean> {
  const folder = join(dirname(dirname(path)), 'reports', 'deliverables');
  const names = await readdir(fsPath(folder)).catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT' || error.code === 'ENOTDIR') return [];
    throw error;
  });
  for (const name of names) {
    if (!name.endsWith('.json')) continue;
    const read = await readRecord(join(folder, name), deliverableReportSchema);
    if (read.state === 'read' && awaitedNames(read.value).includes(basename(path))) return true;
  }
  return false;
}

export interface Sweeping {
  /** Looks again soon: a process on some machine was lost, and may have left something. */
  soon(): void;
  /**
   * One last look; reports what lies there still that nobody is known to work on. What a process left that was lost in the last minute is not
   * known to be left yet: that is waited for, as long as `mayWait`. The second call reports nothing.
   */
  end(mayWait?: () => boolean): Promise<Finding[]>;
}

interface SweepTiming extends LeaseTiming {
  /** Between looks at what is not known yet. */
  readonly againMilliseconds: number;
  /** Between looks at everything, which on a large delivery takes seconds. */
  readonly wholeMilliseconds: number;
}

const usualTiming: SweepTiming = { ...realTiming, againMilliseconds: 10_000, wholeMilliseconds: 300_000 };

export interface SweepingRequest {
  readonly delivery: string;
  readonly hold: Pick<DeliveryHold, 'stillOurs'>;
  readonly log: (message: string, fields: Record<string, unknown>) => void;
  readonly say: (line: string) => void;
  readonly timing?: SweepTiming;
}

const isUnsure = (left: ReadonlyMap<string, LeftoverState>): boolean =>
  [...left.values()].includes('not-known-yet');

/** Looks at once, again while anything is not known yet, when somebody was lost, and every five minutes. What fails is tried again the next time. */
export function startSweeping({ delivery, hold, log, say, timing = usualTiming }: SweepingRequest): Sweeping {
  const { againMilliseconds, wholeMilliseconds, deadMilliseconds, now } = timing;
  const reconcile = newSweep(delivery, hold.stillOurs, log, watchLeases(timing));
  let timer: NodeJS.Timeout | undefined;
  let ended = false;
  let running: Promise<ReadonlyMap<string, LeftoverState>> = Promise.resolve(new Map());

  const look = (): Promise<ReadonlyMap<string, LeftoverState>> => {
    running = reconcile.once().catch((error: unknown) => {
      log('could not look for what was left unfinished', { error: String(error) });
      return new Map<string, LeftoverState>();
    });
    return running;
  };
  const after = (milliseconds: number): void => {
    if (ended) return;
    clearTimeout(timer);
    timer = setTimeout(() => void look().then(next), milliseconds);
    timer.unref();
  };
  const next = (left: ReadonlyMap<string, LeftoverState>): void =>
    after(isUnsure(left) ? againMilliseconds : wholeMilliseconds);
  void look().then(next);

  return {
    soon: () => after(againMilliseconds),
    async end(mayWait = () => false) {
      if (ended) return [];
      ended = true;
      clearTimeout(timer);
      await running;
      if (!hold.stillOurs()) return [];
      let left = await look();
      // By then every lease that does not grow has been seen dead.
      const until = now() + deadMilliseconds + 2 * againMilliseconds;
      if (isUnsure(left) && mayWait())
        say('waiting up to a minute: a worker that was lost may still be writing, and what it left is swept');
      while (isUnsure(left) && mayWait() && hold.stillOurs() && now() < until) {
        await sleep(againMilliseconds / 2);
        left = await look();
      }
      return [...left]
        .filter(([, state]) => state !== 'lives')
        .map(([path]) =>
          finding('staging-left', basename(path), 'published files only', {
            file: path.slice(delivery.length + 1),
          }),
        );
    },
  };
}
