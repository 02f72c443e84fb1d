/**
 * This run's hold on its delivery: the lease that keeps other runs out, and that everything which is written there is asked
 * of. A delivery that cannot be written takes no lease either; then the run goes on without, reads and says so, and every
 * look at the target tries again.
 */
import { FindingError, type Finding, finding } from '../../findings/finding.ts';
import { deliveryPlace } from '../../ledger/lease.ts';
import { type LeaseWatch, type PlaceState, takeLease } from '../../ledger/lease-file.ts';
import type { KeptLease, LeaseKeeper } from '../../ledger/lease-keeper.ts';
import { holderText, isHeld } from '../store/lock.ts';
import { type Target, failureOf } from './target.ts';

export interface HoldRequest {
  readonly delivery: string;
  readonly run: string;
  readonly keeper: LeaseKeeper;
  readonly watch: LeaseWatch;
  /** Waits for the end of the run that has the delivery. */
  readonly wait: boolean;
  readonly onWait: (others: PlaceState) => void;
  readonly signal: AbortSignal;
  readonly lost: (reported: Finding) => void;
}

export interface DeliveryHold {
  /** null: nothing keeps this run from writing there. */
  failure(): Promise<Finding | null>;
  /** Held now; what other machines left may be judged and swept. */
  stillOurs(): boolean;
  release(): Promise<void>;
}

/** Throws FindingError (exit 2) when another run is at work there, and the signal's reason. */
export async function holdDelivery(request: HoldRequest): Promise<DeliveryHold> {
  const { delivery, run, keeper, watch } = request;
  const place = deliveryPlace(delivery);
  const subject = { file: delivery };
  let kept: KeptLease | null = null;
  let taken: Finding | null = null;

  const take = async (wait: boolean): Promise<Finding | null> => {
    try {
      const got = await takeLease({
        place,
        run,
        wait,
        watch,
        onWait: request.onWait,
        signal: request.signal,
      });
      if (!isHeld(got)) return finding('delivery-in-use', holderText(got.lease), 'no other run', subject);
      kept = keeper.keep(got, place, {
        lost: (why) => {
          taken = finding('delivery-taken-over', why, `run ${run} alone`, subject);
          request.lost(taken);
        },
      });
      return null;
    } catch (error) {
      request.signal.throwIfAborted();
      if ((error as NodeJS.ErrnoException).code === undefined) throw error;
      return failureOf(error as NodeJS.ErrnoException, delivery);
    }
  };

  const first = await take(request.wait);
  if (first?.code === 'delivery-in-use') throw new FindingError([first], 2);
  return {
    async failure() {
      if (taken !== null) return taken;
      if (kept === null) return await take(false);
      return kept.stillOurs()
        ? null
        : finding('lease-not-confirmed', 'no renewal', 'a renewal every few seconds', subject);
    },
    stillOurs: () => kept?.stillOurs() === true,
    async release() {
      await kept?.release();
    },
  };
}

/** The target as this run may write it: one whose lease is not its own is in trouble. What the volume itself says comes first. */
export function targetUnderHold(target: Target, hold: Pick<DeliveryHold, 'failure'>): Target {
  return {
    gone: async () => (await target.gone()) ?? (await hold.failure()),
    async look(reserveBytes) {
      const state = await target.look(reserveBytes);
      return state.failure === null ? { ...state, failure: await hold.failure() } : state;
    },
  };
}
