/** The thread that renews the locks of its process's jobs (renewal.ts), on a connection of its own. */
import { parentPort, workerData } from 'node:worker_threads';
import { Redis } from 'ioredis';
import { BULL_PREFIX, redisOptions } from '../ledger/queue.ts';
import { type FromRenewer, nowMilliseconds, RENEWAL, type RenewalSetup, type ToRenewer } from './renewal.ts';

/**
 * What BullMQ itself does to extend a lock (its extendLock script, 6.7): only the token's owner may, and the job is no
 * longer under suspicion of having stalled. Ours, since its own renewal compares wall clocks and lives in the loop that works.
 */
const EXTEND = `
if redis.call("GET", KEYS[1]) == ARGV[1] then
  redis.call("SET", KEYS[1], ARGV[1], "PX", ARGV[2])
  redis.call("SREM", KEYS[2], ARGV[3])
  return 1
end
return 0`;

if (parentPort !== null) {
  const port = parentPort;
  const { queue, lockMilliseconds, hungMilliseconds, sign } = workerData as RenewalSetup;
  const signs = new BigInt64Array(sign);
  const jobs = new Map<
    string,
    { readonly queue: string; readonly id: string; readonly cells: BigInt64Array; asking: boolean }
  >();
  const tell = (message: FromRenewer): void => port.postMessage(message);
  const client = new Redis(redisOptions(queue));
  client.on('error', () => undefined);
  const key = (of: string, name: string): string => `${BULL_PREFIX}:${of}:${name}`;

  const lose = (token: string, id: string, cells: BigInt64Array, why: string): void => {
    if (!jobs.delete(token)) return;
    Atomics.store(cells, RENEWAL.lost, 1n);
    tell({ kind: 'lost', id, token, why });
  };
  const renew = (token: string): void => {
    const job = jobs.get(token);
    // A store that is away lets a command wait: one at a time is enough.
    if (job === undefined || job.asking) return;
    const { id, cells } = job;
    const lock = key(job.queue, `${id}:lock`);
    // The lock is as old as the question, not as its answer.
    const asked = nowMilliseconds();
    job.asking = true;
    client
      .eval(EXTEND, 2, lock, key(job.queue, 'stalled'), token, lockMilliseconds, id)
      .then(
        (answer) => {
          if (answer === 1) Atomics.store(cells, RENEWAL.confirmed, asked);
          else lose(token, id, cells, 'another worker may have the job');
        },
        // A refused or broken command confirms nothing: time decides.
        () => undefined,
      )
      .finally(() => {
        job.asking = false;
      });
  };

  setInterval(
    () => {
      // A loop that is hung for good must not keep its job from others.
      if (nowMilliseconds() - Atomics.load(signs, 0) > BigInt(hungMilliseconds)) return;
      for (const token of jobs.keys()) renew(token);
    },
    Math.max(1, Math.floor(lockMilliseconds / 6)),
  );
  setInterval(
    () => {
      for (const [token, { id, cells }] of jobs) {
        const quiet = nowMilliseconds() - Atomics.load(cells, RENEWAL.confirmed);
        if (quiet > BigInt(Math.floor(lockMilliseconds * RENEWAL.share)))
          lose(token, id, cells, `not renewed for ${(Number(quiet) / 1000).toFixed(0)} s`);
      }
    },
    Math.max(1, Math.floor(lockMilliseconds / 20)),
  );

  port.on('message', (message: ToRenewer) => {
    if (message.kind === 'keep') {
      jobs.set(message.token, {
        queue: message.queue,
        id: message.id,
        cells: new BigInt64Array(message.cells),
        asking: false,
      });
      renew(message.token);
    } else jobs.delete(message.token);
  });
  tell({ kind: 'ready' });
}
