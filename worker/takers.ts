/** On which machines workers were lost at a job: who begins it enters itself, who ends it in order takes itself out. */
import type { Redis } from 'ioredis';
import { takersKey } from '../ledger/farm.ts';
import { KEY_SECONDS } from '../ledger/queue.ts';

export interface Taken {
  /** Machines of earlier claims that never ended, one for each claim. */
  readonly lost: readonly string[];
  leave(): void;
}

/** `queued`: its id in the queue, which is another one each time it is queued; `claim`: of this claim alone. */
export async function enterTakers(
  redis: Redis,
  queued: string,
  { machine, claim }: { readonly machine: string; readonly claim: string },
): Promise<Taken> {
  const key = takersKey(queued.replace(/\.q\d+$/, ''));
  const entry = `${machine}:${claim}`;
  const [earlier] = (await redis
    .multi()
    .lrange(key, 0, -1)
    .rpush(key, entry)
    .expire(key, KEY_SECONDS)
    .exec()) as [[Error | null, string[]]];
  return {
    lost: (earlier[1] ?? []).map((one) => one.slice(0, one.indexOf(':'))),
    // Sent before the job's end on the same connection: whoever takes it next does not find it. A store that is away gets it when it is back.
    leave: () => void redis.lrem(key, 1, entry).catch(() => undefined),
  };
}
