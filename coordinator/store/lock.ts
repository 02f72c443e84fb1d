/**
 * One run per work folder: its store and its logs are one run's at a time. The lock is a lease (ledger/lease.ts), which
 * carries the machine's own id, boot, process number and birth, and so is judged without host names: a killed run of this
 * machine is known to be gone at once, one that cannot be seen from here when it gave no sign for a minute.
 */
import { mkdir } from 'node:fs/promises';
import { FindingError, finding } from '../../findings/finding.ts';
import { type Lease, workPlace } from '../../ledger/lease.ts';
import {
  type HeldLease,
  type PlaceState,
  stateOfPlace,
  type LeaseWatch,
  takeLease,
} from '../../ledger/lease-file.ts';
import type { LeaseKeeper, KeptLease } from '../../ledger/lease-keeper.ts';
import { ownerOfName, thisOwner } from '../../ledger/owner.ts';

export interface LockRequest {
  readonly workFolder: string;
  readonly run: string;
  readonly keeper: LeaseKeeper;
  /** Waits for the end of the run that has it. */
  readonly wait?: boolean;
  readonly onWait?: (others: PlaceState) => void;
  readonly signal?: AbortSignal;
  /** What is known of its lease already; absent: nothing. */
  readonly watch?: LeaseWatch;
  readonly lost: (why: string) => void;
}

/** Who works there, for people. */
export function holderText(lease: Lease | null): string {
  if (lease === null) return 'a run that does not say its name';
  const owner = ownerOfName(lease.owner);
  const here = owner !== null && owner.machine === thisOwner().machine;
  return `run ${lease.run}, process ${owner?.pid ?? '?'} on ${here ? 'this machine' : 'another machine'}, since ${lease.since}`;
}

/** Throws FindingError (exit 2) that names the run when another one has the folder. */
export async function acquireLock(request: LockRequest): Promise<KeptLease> {
  const { workFolder, run, keeper, wait = false, onWait, signal, watch, lost } = request;
  await mkdir(workFolder, { recursive: true, mode: 0o700 });
  const place = workPlace(workFolder);
  const taken = await takeLease({
    place,
    run,
    wait,
    ...(onWait === undefined ? {} : { onWait }),
    ...(signal === undefined ? {} : { signal }),
    ...(watch === undefined ? {} : { watch }),
  });
  if (!isHeld(taken))
    throw new FindingError(
      [finding('work-folder-in-use', holderText(taken.lease), 'no other run', { file: workFolder })],
      2,
    );
  return keeper.keep(taken, place, { lost });
}

export function isHeld(taken: HeldLease | object): taken is HeldLease {
  return 'path' in taken;
}

export async function readLock(workFolder: string): Promise<PlaceState> {
  return await stateOfPlace(workPlace(workFolder));
}
