/**
 * The coordinator's lease on a delivery: of two coordinators one has it, and the other stands by. Who stands by watches the leases of
 * the run there and in its work folder as well (that of a machine that starts again is its own, of before): all die with their machine, and after a minute without a sign all are free together.
 */
import { coordinatorPlace, deliveryPlace, workPlace } from '../../ledger/lease.ts';
import { type LeaseWatch, type PlaceState, stateOfPlace, takeLease } from '../../ledger/lease-file.ts';
import type { KeptLease, LeaseKeeper } from '../../ledger/lease-keeper.ts';
import { defaultWorkFolder, makeDelivery, realPath } from '../roll/folders.ts';
import { isHeld } from '../store/lock.ts';

const LOOK_MILLISECONDS = 1_000;

export interface HoldShowRequest {
  readonly delivery: string;
  /** Name of this coordinator. */
  readonly coordinator: string;
  readonly leases: LeaseWatch;
  readonly keeper: LeaseKeeper;
  readonly signal: AbortSignal;
  onWait(others: PlaceState): void;
  lost(why: string): void;
}

/** Waits until the delivery is this coordinator's. Throws the signal's reason, FindingError where it cannot be made, and what node:fs throws. */
export async function holdShow(request: HoldShowRequest): Promise<KeptLease> {
  const { delivery, coordinator, leases, keeper, signal, onWait, lost } = request;
  makeDelivery(delivery);
  const place = coordinatorPlace(delivery);
  const ofRun = [deliveryPlace(delivery), workPlace(realPath(defaultWorkFolder(delivery)))];
  const watchRun = (): void => {
    // What cannot be looked at now is looked at again.
    for (const one of ofRun) void stateOfPlace(one, leases).catch(() => undefined);
  };
  watchRun();
  const timer = setInterval(watchRun, LOOK_MILLISECONDS);
  try {
    const taken = await takeLease({ place, run: coordinator, wait: true, watch: leases, onWait, signal });
    if (!isHeld(taken)) throw new Error('a lease that was waited for is not held');
    return keeper.keep(taken, place, { lost });
  } finally {
    clearInterval(timer);
  }
}
