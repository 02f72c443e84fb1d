/** The places that a run has alone: its work folder and its delivery. Taken before the queue is opened: a run that is refused must not take the night over there. */
import { rmdir } from 'node:fs/promises';
import { FindingError, type Finding, finding } from '../../findings/finding.ts';
import { type PlaceState, watchLeases } from '../../ledger/lease-file.ts';
import { type KeptLease, startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { makeDelivery } from '../roll/folders.ts';
import { acquireLock, holderText } from '../store/lock.ts';
import { type DeliveryHold, holdDelivery } from './delivery-hold.ts';
import type { Interrupts, NightRequest, NightUi } from './request.ts';

export interface PlacesRequest {
  readonly request: NightRequest;
  readonly run: string;
  readonly interrupts: Interrupts;
  readonly ui: Pick<NightUi, 'say'>;
}

export interface Places {
  readonly hold: DeliveryHold;
  /** Aborted when another run took one of them over; the reason is the finding that says which. */
  readonly lost: AbortSignal;
  /** Gives both back, and takes a delivery away that this run made and in which nothing lies. */
  release(): Promise<void>;
}

/** Throws FindingError: another run has one of them (exit 2), the delivery cannot be made, or an interrupt ended the waiting. */
export async function takePlaces({ request, run, interrupts, ui }: PlacesRequest): Promise<Places> {
  const { work, delivery } = request.folders;
  const watch = request.leases ?? watchLeases();
  const keeper = startLeaseKeeper();
  const ending = new AbortController();
  const lost = (found: Finding): void => ending.abort(found);
  let lock: KeptLease | undefined;
  let hold: DeliveryHold | undefined;
  let isNew = false;
  const release = async (): Promise<void> => {
    await hold?.release();
    // Not one in which anything lies.
    if (isNew) await rmdir(delivery).catch(() => undefined);
    await lock?.release();
    await keeper.close();
  };
  const waiting = (what: string) => ({
    wait: request.waitForRun,
    signal: interrupts.first,
    onWait: (others: PlaceState) => sayWaiting(what, others, ui),
  });
  try {
    lock = await acquireLock({
      workFolder: work,
      run,
      keeper,
      watch,
      ...waiting('work folder'),
      lost: (why) => lost(finding('work-folder-in-use', why, 'no other run', { file: work })),
    });
    isNew = makeDelivery(delivery);
    hold = await holdDelivery({
      ...{ delivery, run, keeper, lost },
      watch,
      ...waiting('delivery'),
    });
    return { hold, lost: ending.signal, release };
  } catch (error) {
    await release();
    if (interrupts.first.aborted && !(error instanceof FindingError))
      throw new FindingError([finding('run-interrupted', 'an interrupt', 'a run that comes to its own end')]);
    throw error;
  }
}

function sayWaiting(what: string, others: PlaceState, ui: Pick<NightUi, 'say'>): void {
  if (others.state === 'unchanged')
    ui.say(
      `A lease lies in the ${what}: ${holderText(others.lease)}. Looking for up to a minute whether that run lives.`,
    );
  else if (others.state === 'alive')
    ui.say(`Waiting for another run in the ${what}: ${holderText(others.lease)}.`);
}
