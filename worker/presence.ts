/** This worker's leases on the deliveries that it makes files in: while they grow, nobody of another machine takes its unfinished files for a dead one's. */
import { unlinkSync } from 'node:fs';
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../files/names.ts';
import { workerLeaseName } from '../ledger/lease.ts';
import { createLease, newLease } from '../ledger/lease-file.ts';
import { type KeptLease, type LeaseKeeper, startLeaseKeeper } from '../ledger/lease-keeper.ts';
import { ownerName, thisOwner } from '../ledger/owner.ts';

export interface Presence {
  /** Before the first file is made there. Throws what node:fs throws for a delivery that cannot be written, and where `witness`, a folder of the run's in it, is not: the delivery may be the empty mount point of a volume that is gone. */
  in(delivery: string, witness: string): Promise<void>;
  /** Takes the leases away and ends the thread. */
  end(): Promise<void>;
  /** The same at once, for the last moment of a process. */
  leave(): void;
}

export function newPresence(
  worker: string,
  log: (message: string, fields: Record<string, unknown>) => void,
): Presence {
  const kept = new Map<string, Promise<KeptLease>>();
  const paths = new Set<string>();
  let keeper: LeaseKeeper | undefined;

  const begin = async (delivery: string): Promise<KeptLease> => {
    const path = join(delivery, workerLeaseName(ownerName(thisOwner())));
    const lease = newLease(worker);
    if (!(await createLease(path, lease))) throw new Error(`${path} is there already`);
    paths.add(path);
    keeper ??= startLeaseKeeper();
    return keeper.keep({ path, lease }, null, {
      // Taken away by a person, or by a run that saw it still for a minute: with the next job there is another.
      lost: (why) => {
        log('the lease of this worker is lost', { delivery, why });
        kept.delete(delivery);
        paths.delete(path);
      },
    });
  };

  return {
    async in(delivery, witness) {
      await stat(fsPath(witness));
      const begun = kept.get(delivery) ?? begin(delivery);
      kept.set(delivery, begun);
      try {
        await begun;
      } catch (error) {
        kept.delete(delivery);
        throw error;
      }
    },
    async end() {
      for (const lease of kept.values()) await lease.then((one) => one.release()).catch(() => undefined);
      kept.clear();
      paths.clear();
      await keeper?.close();
    },
    leave() {
      for (const path of paths) {
        try {
          unlinkSync(fsPath(path));
        } catch {
          // The volume may be away; there the lease dies of itself.
        }
      }
    },
  };
}
