/** A shared Redis with a password for the nights of one test file, stopped at its end. */
import { afterAll } from 'vitest';
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
    },
  };
}
