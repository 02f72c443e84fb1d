/** A shared Redis for tests, as a farm would have one: TCP on a free port of this machine, with a password or without. */
import { createServer } from 'node:net';
import { join } from 'node:path';
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { Redis } from 'ioredis';
import { runTool } from '../../process/run.ts';

export interface SharedRedis {
  readonly url: string;
  readonly port: number;
  /** Kills it and starts it again on its files. */
  killAndStartAgain(): Promise<void>;
  /** One command, asked on a connection of its own. */
  ask(command: string, ...args: string[]): Promise<unknown>;
  stop(): Promise<void>;
}

export async function freePort(): Promise<number> {
  return await new Promise((resolve, reject) => {
    const server = createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const address = server.address();
      server.close(() =>
        typeof address === 'object' && address !== null
          ? resolve(address.port)
          : reject(new Error('no port')),
      );
    });
  });
}

export async function sharedRedis(
  options: { password?: string; extra?: readonly string[] } = {},
): Promise<SharedRedis> {
  const port = await freePort();
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-shared-'));
  mkdirSync(folder, { recursive: true });
  const ending = new AbortController();
  // The password in a file, as on a real farm: a command line can be read by everybody.
  const settings = join(folder, 'redis.conf');
  writeFileSync(
    settings,
    options.password === undefined ? '' : `requirepass ${JSON.stringify(options.password)}\n`,
    { mode: 0o600 },
  );
  const args = [
    settings,
    '--port',
    String(port),
    '--bind',
    '127.0.0.1',
    '--dir',
    folder,
    '--appendonly',
    'yes',
    '--save',
    '',
    '--maxmemory-policy',
    'noeviction',
    ...(options.extra ?? []),
  ];
  const connect = (): Redis => {
    const client = new Redis({
      port,
      host: '127.0.0.1',
      ...(options.password === undefined ? {} : { password: options.password }),
      retryStrategy: () => 50,
      maxRetriesPerRequest: null,
    });
    client.on('error', () => undefined);
    return client;
  };
  const ask = async (command: string, ...words: string[]): Promise<unknown> => {
    const client = connect();
    try {
      return await client.call(command, ...words);
    } finally {
      client.disconnect();
    }
  };
  const start = async (): Promise<{ ended: Promise<unknown> }> => {
    const ended = runTool('redis-server', args, { signal: ending.signal });
    const early = ended.then((result) =>
      Promise.reject(new Error(`redis-server did not start: ${result.startError ?? result.stderr}`)),
    );
    await Promise.race([ask('PING'), early]);
    early.catch(() => undefined);
    return { ended };
  };
  let running = await start();
  const user = options.password === undefined ? '' : `:${encodeURIComponent(options.password)}@`;
  return {
    url: `redis://${user}127.0.0.1:${port}/0`,
    port,
    killAndStartAgain: async () => {
      const pid = /^process_id:(\d+)/m.exec(String(await ask('INFO', 'server')))?.[1];
      process.kill(Number(pid), 'SIGKILL');
      await running.ended;
      running = await start();
    },
    ask,
    stop: async () => {
      ending.abort();
      await running.ended;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
