/**
 * The built-in Redis: a redis-server (or valkey-server) that lives and dies with this run, in the work folder, behind
 * a socket that only this user can open. When it dies in mid-night it is started again on the same files; when those
 * files are no good, on none, since the queue remembers nothing that is not also on disk.
 */
import { randomBytes } from 'node:crypto';
import { createWriteStream, existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { FindingError, type Finding, finding } from '../../findings/finding.ts';
import type { QueueAddress } from '../../ledger/queue.ts';
import { isProgram, programsOnPath } from '../../process/program.ts';
import { type RunResult, runTool } from '../../process/run.ts';
import { answersPing } from './ping.ts';

export interface PrivateStore {
  readonly address: QueueAddress;
  /** Resolves at the first PONG; rejects with FindingError (exit 3) when it does not come up. */
  readonly ready: Promise<void>;
  /** Ends it in order; resolves when it is gone. */
  stop(): Promise<void>;
}

export interface StoreEvents {
  /** It had died and answers again. */
  onRestart(reported: Finding): void;
  /** It cannot be kept up. */
  onLost(reported: Finding): void;
}

/** sockaddr_un.sun_path holds 108 bytes with its end mark on Linux and 104 on macOS (unix(7)). */
const SOCKET_PATH_BYTES = 100;
const READY_MILLISECONDS = 15_000;
/** More deaths than this within a minute, and something is wrong that starting again does not heal. */
const DEATHS_A_MINUTE = 5;
const WATCH_MILLISECONDS = 1_000;

export function findStoreProgram(): string | null {
  const named = process.env.RUSHLIGHT_REDIS_SERVER;
  if (named !== undefined && named !== '') return isProgram(named) ? named : null;
  return [...programsOnPath('redis-server'), ...programsOnPath('valkey-server')][0] ?? null;
}

/** A socket of this run alone: what is left of an earlier run can never reach the new store. */
function socketPlace(folder: string): { path: string; ownFolder: string | null } {
  const name = `q-${randomBytes(4).toString('hex')}.sock`;
  const path = join(folder, name);
  if (Buffer.byteLength(path) <= SOCKET_PATH_BYTES) return { path, ownFolder: null };
  // mkdtemp makes the folder with mode 0700.
  const short = mkdtempSync(join(Buffer.byteLength(tmpdir()) <= 60 ? tmpdir() : '/tmp', 'rushlight-'));
  return { path: join(short, name), ownFolder: short };
}

function storeArguments(folder: string, socket: string): string[] {
  return [
    ...['--port', '0', '--unixsocket', socket, '--unixsocketperm', '700', '--dir', folder],
    // Every second is enough: what a power cut takes is queued again from disk.
    ...['--appendonly', 'yes', '--appendfsync', 'everysec', '--aof-load-truncated', 'yes', '--save', ''],
    ...['--maxmemory-policy', 'noeviction', '--daemonize', 'no', '--logfile', ''],
  ];
}

/** Starts the store in `<work>/store`, emptied first: a new run queues from disk. Throws FindingError (exit 3) without a program. */
export function startPrivateStore(workFolder: string, events: StoreEvents): PrivateStore {
  const program = findStoreProgram();
  if (program === null) {
    throw new FindingError(
      [
        finding(
          'store-program-missing',
          process.env.RUSHLIGHT_REDIS_SERVER
            ? `RUSHLIGHT_REDIS_SERVER=${process.env.RUSHLIGHT_REDIS_SERVER} is not a program`
            : 'not on PATH',
          'redis-server or valkey-server',
        ),
      ],
      3,
    );
  }
  const folder = join(workFolder, 'store');
  const socket = socketPlace(folder);
  const address: QueueAddress = { kind: 'socket', path: socket.path };
  const log = createWriteStream(join(workFolder, 'store.log'), { flags: 'a' });
  // A log that cannot be written must not end the night.
  log.on('error', () => undefined);
  const stopping = new AbortController();
  let current = new AbortController();

  const freshFolder = (): void => {
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true, mode: 0o700 });
  };
  const runOnce = (): Promise<RunResult> => {
    current = new AbortController();
    return runTool(program, storeArguments(folder, socket.path), {
      signal: AbortSignal.any([stopping.signal, current.signal]),
      graceMilliseconds: 20_000,
      onStdout: async (stream) => {
        for await (const chunk of stream) log.write(chunk);
      },
      onStderrLine: (line) => log.write(`${line}\n`),
    });
  };

  freshFolder();
  /** It answers: until it does, it has no socket that could be missed. */
  let up = false;
  const firstRun = runOnce();
  const ready = (async () => {
    const failed = firstRun.then((result) =>
      stopping.signal.aborted ? undefined : Promise.reject(startFailure(program, result)),
    );
    up = await Promise.race([
      answersPing(address, READY_MILLISECONDS, stopping.signal),
      failed.then(() => false),
    ]);
    if (!up && !stopping.signal.aborted)
      throw new FindingError(
        [
          finding('store-failed', `no answer within ${READY_MILLISECONDS / 1000} s`, 'an answer to PING', {
            file: program,
          }),
        ],
        3,
      );
  })();
  // Whoever awaits `ready` is reported; nobody may be awaiting it yet.
  ready.catch(() => undefined);

  /** The socket's folder may be deleted under a living store: nobody new could reach it, so it is started again. */
  const watch = setInterval(() => {
    if (up && !stopping.signal.aborted && !existsSync(socket.path)) current.abort();
  }, WATCH_MILLISECONDS);
  watch.unref();

  const supervised = (async () => {
    let result = await firstRun;
    if (!up) return;
    const deaths: number[] = [];
    while (!stopping.signal.aborted) {
      up = false;
      const now = performance.now();
      deaths.push(now);
      const recent = deaths.filter((time) => now - time < 60_000).length;
      const reported = `${result.reason}, exit code ${result.exitCode}, signal ${result.signal}`;
      if (recent > DEATHS_A_MINUTE) {
        events.onLost(
          finding(
            'store-failed',
            `ended ${recent} times within a minute; last: ${reported}`,
            'a store that stays up',
            { file: program },
          ),
        );
        return;
      }
      // The same files first; when it does not come up on them, none.
      if (recent > 2 || !existsSync(folder)) freshFolder();
      if (socket.ownFolder !== null) mkdirSync(socket.ownFolder, { recursive: true, mode: 0o700 });
      rmSync(socket.path, { force: true });
      const running = runOnce();
      up = await Promise.race([
        answersPing(address, READY_MILLISECONDS, stopping.signal),
        running.then(() => false),
      ]);
      if (up)
        events.onRestart(finding('store-restarted', reported, 'a store that stays up', { file: program }));
      else current.abort();
      result = await running;
    }
  })();

  return {
    address,
    ready,
    stop: async () => {
      clearInterval(watch);
      stopping.abort();
      await Promise.all([supervised, firstRun]);
      if (socket.ownFolder !== null) rmSync(socket.ownFolder, { recursive: true, force: true });
      await new Promise<void>((resolve) => log.end(resolve));
    },
  };
}

function startFailure(program: string, result: RunResult): FindingError {
  const last = result.stderr.trim().split('\n').at(-1) ?? '';
  return new FindingError(
    [
      finding(
        'store-failed',
        result.startError ?? `ended at once: exit code ${result.exitCode}, signal ${result.signal} ${last}`,
        'a store that stays up',
        { file: program },
      ),
    ],
    3,
  );
}
