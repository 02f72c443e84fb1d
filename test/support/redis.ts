/** A standing Redis for tests, as a farm would have one: TCP on a free port of this machine, with a password or without. */
import { createServer } from 'node:net';
import { join } from 'node:path';
import { mkdirSync, rmSync } from 'node:fs';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { Redis } from 'ioredis';
import { runTool } from '../../media/tools/run.ts';

export interface StandingRedis {
  readonly url: string;
  readonly port: number;
  stop(): Promise<void>;
}

async function freePort(): Promise<number> {
  return await new Promise((resolve, reject) => {
    const server = createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const address = server.address();
      server.close(() => (typeof address === 'object' && address !== null ? resolve(address.port) : reject(new Error('no port'))));
    });
  });
}

export async function standingRedis(options: { password?: string; extra?: readonly string[] } = {}): Promise<StandingRedis> {
  const port = await freePort();
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-standing-'));
  mkdirSync(folder, { recursive: true });
  const ending = new AbortController();
  const args = ['--port', String(port), '--bind', '127.0.0.1', '--dir', folder, '--appendonly', 'yes', '--save', '', '--maxmemory-policy', 'noeviction', ...(options.password === undefined ? [] : ['--requirepass', options.password]), ...(options.extra ?? [])];
  const running = runTool('redis-server', args, { signal: ending.signal });
  const client = new Redis({ port, host: '127.0.0.1', ...(options.password === undefined ? {} : { password: options.password }), retryStrategy: () => 50, maxRetriesPerRequest: null });
  client.on('error', () => undefined);
  const early = running.then((result) => Promise.reject(new Error(`redis-server did not start: ${result.startError ?? result.stderr}`)));
  await Promise.race([client.ping(), early]);
  early.catch(() => undefined);
  client.disconnect();
  const user = options.password === undefined ? '' : `:${encodeURIComponent(options.password)}@`;
  return {
    url: `redis://${user}127.0.0.1:${port}/0`,
    port,
    stop: async () => {
      ending.abort();
      await running;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
