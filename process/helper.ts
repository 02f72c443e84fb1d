/**
 * A process of this program's own beside it, which takes one order at a time: what ends it (a native abort, memory, a hang) costs one
 * order, and the next one begins another process. Threads (threads.ts) would end with the whole process.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { tied } from './parent-death-guard.ts';

/** The process is gone, with what it was doing. The message says how it went. */
export class HelperDied extends Error {
  constructor(how: string) {
    super(how);
    this.name = 'HelperDied';
  }
}

export interface HelperOptions {
  /** The file that it runs (`programFile`). */
  readonly program: string;
  /** Bounds of JavaScript's own memory, and of all memory that is written to (Linux). */
  readonly heapMegabytes: number;
  readonly memoryMegabytes: number;
  /** An order that reports no progress for so long is taken for a hang. */
  readonly silentMilliseconds: number;
}

export interface Helper<Order, Result> {
  /** One after the other. Rejects with what the order throws there (name, message and fields), HelperDied, or the signal's reason. */
  run(order: Order, signal?: AbortSignal): Promise<Result>;
  close(): void;
}

interface Thrown {
  readonly name: string;
  readonly message: string;
  readonly stack: string | undefined;
  readonly fields: Readonly<Record<string, string | number | boolean>>;
}
type Word<Result> = 'alive' | { readonly result: Result } | { readonly thrown: Thrown };

/** The last words of a process that the engine ended. */
const LAST_WORDS = /^.*(?:Assertion failed|FATAL ERROR|Check failed).*$/m;
const KEPT_CHARACTERS = 16 * 1024;

function start({ program, heapMegabytes, memoryMegabytes }: HelperOptions): ChildProcess {
  const bounded = [
    '-c',
    `ulimit -c 0; ulimit -d ${memoryMegabytes * 1024} 2>/dev/null; exec "$@"`,
    'sh',
    ...[process.execPath, `--max-old-space-size=${heapMegabytes}`, program],
  ];
  const { file: shell, args } = tied('/bin/sh', bounded);
  return spawn(shell, args, {
    // fd 3 carries the words; fd 4 ties its life to ours. A group of its own: Ctrl-C is ours to translate.
    stdio: ['ignore', 'ignore', 'pipe', 'ipc', 'pipe'],
    serialization: 'advanced',
    detached: true,
  });
}

export function createHelper<Order extends object, Result>(options: HelperOptions): Helper<Order, Result> {
  let child: ChildProcess | null = null;
  let last: Promise<unknown> = Promise.resolve();
  const kill = (one: ChildProcess): void => {
    if (child === one) child = null;
    try {
      if (one.pid !== undefined) process.kill(-one.pid, 'SIGKILL');
    } catch {
      // Gone already.
    }
  };

  const begin = (): ChildProcess => {
    if (child !== null) return child;
    const one = start(options);
    child = one;
    // An idle helper must not keep the program alive.
    one.unref();
    one.channel?.unref();
    for (const pipe of [one.stderr, one.stdio[4]])
      if (pipe !== null && pipe !== undefined && 'unref' in pipe) (pipe as { unref(): void }).unref();
    one.once('exit', () => {
      if (child === one) child = null;
    });
    one.on('error', () => kill(one));
    return one;
  };

  async function work(order: Order, signal: AbortSignal | undefined): Promise<Result> {
    signal?.throwIfAborted();
    const one = begin();
    one.ref();
    one.channel?.ref();
    let words = '';
    let silence: NodeJS.Timeout | undefined;
    const listen = (text: Buffer): void => {
      words = (words + text.toString('utf8')).slice(-KEPT_CHARACTERS);
    };
    one.stderr?.on('data', listen);
    const removed: (() => void)[] = [() => one.stderr?.off('data', listen), () => clearTimeout(silence)];
    try {
      return await new Promise<Result>((resolve, reject) => {
        const hang = (): void => {
          reject(new HelperDied(`no progress for ${options.silentMilliseconds / 1000} s; it was ended`));
          kill(one);
        };
        const alive = (): void => {
          clearTimeout(silence);
          silence = setTimeout(hang, options.silentMilliseconds);
        };
        const onWord = (word: Word<Result>): void => {
          if (word === 'alive') alive();
          else if ('result' in word) resolve(word.result);
          else {
            const { name, message, stack, fields } = word.thrown;
            const error = Object.assign(new Error(message), fields, stack === undefined ? {} : { stack });
            error.name = name;
            reject(error);
          }
        };
        // `close`: what it wrote last has been read.
        const onGone = (code: number | null, ended: NodeJS.Signals | null): void => {
          kill(one);
          const word = LAST_WORDS.exec(words)?.[0].trim();
          reject(
            new HelperDied(
              `${ended === null ? `exit code ${code}` : `signal ${ended}`}${word === undefined ? '' : `: ${word}`}`,
            ),
          );
        };
        const onAbort = (): void => {
          reject(signal?.reason);
          kill(one);
        };
        one.on('message', onWord);
        one.once('close', onGone);
        signal?.addEventListener('abort', onAbort, { once: true });
        removed.push(() => {
          one.off('message', onWord);
          one.off('close', onGone);
          signal?.removeEventListener('abort', onAbort);
        });
        alive();
        one.send(order, (error) => {
          // Its end says more than that nothing could be sent to it.
          if (error !== null) setTimeout(() => reject(new HelperDied(error.message)), 1000).unref();
        });
      });
    } finally {
      for (const remove of removed) remove();
      one.unref();
      one.channel?.unref();
    }
  }

  return {
    run: (order, signal) => {
      const mine = last.then(() => work(order, signal));
      last = mine.catch(() => undefined);
      return mine;
    },
    close: () => {
      if (child !== null) kill(child);
    },
  };
}

/** Progress is reported at most so often. */
const TELL_MILLISECONDS = 500;

/** The body of a helper's program, and of nothing else. `progress` is to be called at every sign of it. */
export function serveOrders<Order, Result>(
  work: (order: Order, progress: () => void) => Promise<Result>,
): void {
  const tell = (word: Word<Result>): void => void process.send?.(word);
  process.on('disconnect', () => process.exit(0));
  process.on('message', (order: Order) => {
    let reported = performance.now();
    const progress = (): void => {
      if (performance.now() - reported < TELL_MILLISECONDS) return;
      reported = performance.now();
      tell('alive');
    };
    work(order, progress).then(
      (result) => tell({ result }),
      (error: unknown) => {
        const { name, message, stack } = error instanceof Error ? error : new Error(String(error));
        const fields = Object.fromEntries(
          Object.entries(error instanceof Error ? error : {}).filter(
            (entry): entry is [string, string | number | boolean] =>
              ['string', 'number', 'boolean'].includes(typeof entry[1]),
          ),
        );
        tell({ thrown: { name, message, stack, fields } });
      },
    );
  });
}
