/** A worker whose job blocks its event loop: `blocked-worker.mjs <redis url> <lock ms> <block ms> <renew|not>`. */
import { Worker } from 'bullmq';
import { BULL_PREFIX, JOB_QUEUE, redisOptions } from '../../dist/ledger/queue.js';
import { startRenewer } from '../../dist/worker/renewal.js';

const [url, lock, block, renew] = process.argv.slice(2);
const queue = { kind: 'url', url };
const lockMilliseconds = Number(lock);
const renewer =
  renew === 'renew' ? startRenewer({ queue, lockMilliseconds, hungMilliseconds: 60_000 }) : null;
await renewer?.ready;
const worker = new Worker(
  JOB_QUEUE,
  async (job, token) => {
    const kept = renewer?.keep({ queue: JOB_QUEUE, id: job.id }, token, (why) =>
      process.stdout.write(`lost ${why}\n`),
    );
    process.stdout.write('begins\n');
    // The word has to leave the process before its loop is blocked.
    await new Promise((resolve) => setTimeout(resolve, 500));
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, Number(block));
    // Asked before any message of the thread could be read.
    process.stdout.write(`holds ${kept?.stillOurs() ?? 'unknown'}\n`);
    kept?.release();
  },
  {
    connection: redisOptions(queue),
    prefix: BULL_PREFIX,
    lockDuration: lockMilliseconds,
    // Of a loop that is blocked nobody would do it; the other worker does.
    skipStalledCheck: true,
    maxStalledCount: 10,
    skipLockRenewal: renewer !== null,
  },
);
worker.on('error', () => undefined);
worker.on('completed', () => process.stdout.write('completed\n'));
process.stdout.write('ready\n');
