/** A shared Redis with a password for the nights of one test file, stopped at its end. */
import { afterAll, expect } from 'vitest';
import { BULL_PREFIX, JOB_QUEUE } from '../../ledger/queue.ts';
import { type SharedRedis, sharedRedis } from '../support/redis.ts';
import type { QueuePlace } from './disturbances.ts';

const password = 'bronze-Glocke-7731';

export async function ownRedis(): Promise<{
  readonly store: SharedRedis;
  readonly place: QueuePlace & { readonly password: string };
}> {
  const store = await sharedRedis({ password });
  afterAll(() => store.stop());
  return {
    store,
    place: {
      args: () => ['--queue', store.url],
      password,
      // A worker on a farm is taken for dead after a minute: long enough for a network to come back, too long for a test.
      expireLocks: async () => {
        const locks = (await store.ask('KEYS', `${BULL_PREFIX}:${JOB_QUEUE}-*:lock`)) as string[];
        expect(locks).toHaveLength(1);
        await store.ask('DEL', ...locks);
      },
    },
  };
}
