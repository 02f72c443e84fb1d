/** Whether somebody answers at an address: Redis itself, not only an open socket. */
import { Redis } from 'ioredis';
import { type QueueAddress, type QueueConnection, redisOptions } from '../../ledger/queue.ts';

/** True at the first PONG; false when none came within the time or the signal aborted. */
export async function answersPing(
  address: QueueAddress,
  milliseconds: number,
  signal: AbortSignal,
): Promise<boolean> {
  const options: QueueConnection = {
    ...redisOptions(address),
    lazyConnect: true,
    retryStrategy: () => 20,
    maxRetriesPerRequest: null,
  };
  const client = new Redis(options);
  // Refused connections are what this waits out.
  client.on('error', () => undefined);
  let timer: NodeJS.Timeout | undefined;
  let onAbort: () => void = () => undefined;
  const giveUp = new Promise<boolean>((resolve) => {
    timer = setTimeout(() => resolve(false), milliseconds);
    onAbort = () => resolve(false);
    signal.addEventListener('abort', onAbort, { once: true });
    if (signal.aborted) resolve(false);
  });
  const answer = client.ping().then(
    (text) => text === 'PONG',
    () => false,
  );
  try {
    return await Promise.race([answer, giveUp]);
  } finally {
    clearTimeout(timer);
    signal.removeEventListener('abort', onAbort);
    client.disconnect();
  }
}
