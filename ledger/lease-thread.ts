/** The thread that keeps the leases of its process (lease-keeper.ts): it beats whatever the rest of the process is at. */
import { parentPort, workerData } from 'node:worker_threads';
import { beat, type Kept } from './lease-beat.ts';
import type { Lease } from './lease.ts';
import { CELL, type FromKeeper, type KeeperSetup, nowMilliseconds, type ToKeeper } from './lease-keeper.ts';

interface Entry {
  readonly kept: Kept;
  lease: Lease;
  readonly cells: BigInt64Array;
}

if (parentPort !== null) {
  const port = parentPort;
  const { beatMilliseconds, hungMilliseconds, sign } = workerData as KeeperSetup;
  const signs = new BigInt64Array(sign);
  const entries = new Map<string, Entry>();
  const tell = (message: FromKeeper): void => port.postMessage(message);

  const beatOne = (token: string, entry: Entry): void => {
    entry.lease = { ...entry.lease, counter: entry.lease.counter + 1 };
    const began = nowMilliseconds();
    const outcome = beat(entry.kept, entry.lease);
    if (outcome.kind === 'kept') Atomics.store(entry.cells, CELL.confirmed, began);
    else if (outcome.kind === 'lost') {
      Atomics.store(entry.cells, CELL.lost, 1n);
      entries.delete(token);
      tell({ kind: 'lost', token, why: outcome.why });
    } else tell({ kind: 'not-reached', token, why: outcome.why });
  };

  setInterval(() => {
    // A process whose own loop gave no sign for so long does nothing any more, and must not keep others out.
    if (nowMilliseconds() - Atomics.load(signs, 0) > BigInt(hungMilliseconds)) return;
    for (const [token, entry] of entries) beatOne(token, entry);
  }, beatMilliseconds);

  port.on('message', (message: ToKeeper) => {
    if (message.kind === 'keep') {
      const entry = { kept: message.kept, lease: message.lease, cells: new BigInt64Array(message.cells) };
      entries.set(message.lease.token, entry);
      beatOne(message.lease.token, entry);
    } else entries.delete(message.token);
    // What was asked before this is done: a beat that was under way has ended.
    if (message.kind === 'drop') tell({ kind: 'dropped', token: message.token });
  });
}
