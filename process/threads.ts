/** A few threads of one program, each with one order at a time. What a thread cannot answer comes back as its error, by its code (coded-error.ts). */
import { parentPort, type Transferable, Worker, workerData } from 'node:worker_threads';
import { CodedError, errorCodeOf } from '../files/coded-error.ts';

type Answer<Result> =
  | { readonly result: Result }
  | {
      readonly error: {
        readonly message: string;
        readonly stack: string | undefined;
        readonly fields: Readonly<Record<string, unknown>>;
      };
    };

interface Task<Order, Result> {
  readonly order: Order;
  readonly transfer: readonly Transferable[];
  readonly resolve: (result: Result) => void;
  readonly reject: (error: unknown) => void;
}

export interface ThreadPool<Order, Result> {
  readonly threads: number;
  /** In whatever order threads become free. Rejects with the thread's error, and when the pool is closed. */
  run(order: Order, transfer?: readonly Transferable[]): Promise<Result>;
  close(): Promise<void>;
}

export class PoolClosedError extends CodedError {
  constructor() {
    super('threads-ended', 'the threads were ended');
    this.name = 'PoolClosedError';
  }
}

/** `program`: the file that each thread runs (`programFile`). `setup` is copied to every thread. */
export function createThreadPool<Setup, Order, Result>(
  program: string,
  threads: number,
  setup: Setup,
): ThreadPool<Order, Result> {
  if (!Number.isSafeInteger(threads) || threads < 1)
    throw new RangeError(`threads must be 1 or more, not ${threads}`);
  const idle: Worker[] = [];
  const busy = new Map<Worker, Task<Order, Result>>();
  const waiting: Task<Order, Result>[] = [];
  let closed = false;

  function start(): Worker {
    const worker = new Worker(program, { workerData: setup, execArgv: [] });
    worker.on('message', (answer: Answer<Result>) => {
      const task = busy.get(worker);
      busy.delete(worker);
      // An idle thread must not keep the program alive.
      worker.unref();
      idle.push(worker);
      if (task !== undefined) settle(task, answer);
      next();
    });
    worker.on('error', (error) => lost(worker, error));
    worker.on('exit', () =>
      lost(worker, closed ? new PoolClosedError() : new Error('a thread ended on its own')),
    );
    return worker;
  }

  function lost(worker: Worker, error: unknown): void {
    busy.get(worker)?.reject(error);
    busy.delete(worker);
    const at = idle.indexOf(worker);
    if (at >= 0) idle.splice(at, 1);
    if (!closed) next();
  }

  function next(): void {
    while (waiting.length > 0) {
      const worker = idle.pop() ?? (busy.size < threads ? start() : undefined);
      if (worker === undefined) return;
      const task = waiting.shift() as Task<Order, Result>;
      busy.set(worker, task);
      worker.ref();
      worker.postMessage(task.order, task.transfer);
    }
  }

  return {
    threads,
    run: (order, transfer = []) =>
      new Promise((resolve, reject) => {
        if (closed) {
          reject(new PoolClosedError());
          return;
        }
        waiting.push({ order, transfer, resolve, reject });
        next();
      }),
    async close() {
      closed = true;
      for (const task of waiting.splice(0)) task.reject(new PoolClosedError());
      await Promise.all([...idle, ...busy.keys()].map((worker) => worker.terminate()));
    },
  };
}

function settle<Order, Result>(task: Task<Order, Result>, answer: Answer<Result>): void {
  if ('result' in answer) {
    task.resolve(answer.result);
    return;
  }
  const { message, stack, fields } = answer.error;
  const code = errorCodeOf(fields);
  const error = code === null ? new Error(message) : new CodedError(code, message);
  task.reject(Object.assign(error, fields, stack === undefined ? {} : { stack }));
}

/** The body of a thread of a pool: `prepare` once with the setup, then one order after the other. Does nothing where it is imported by others. */
export function serve<Setup, Order, Result>(
  prepare: (
    setup: Setup,
  ) => Promise<
    (order: Order) => Promise<{ readonly result: Result; readonly transfer?: readonly Transferable[] }>
  >,
): void {
  if (parentPort === null) return;
  const port = parentPort;
  const ready = prepare(workerData as Setup);
  // Told with the first order: a thread without one has nobody to tell.
  ready.catch(() => undefined);
  port.on('message', (order: Order) => {
    ready
      .then((work) => work(order))
      .then(
        ({ result, transfer = [] }) => port.postMessage({ result } satisfies Answer<Result>, transfer),
        (error: unknown) => {
          const { message, stack, ...fields } =
            error instanceof Error
              ? Object.assign({}, error, { message: error.message, stack: error.stack })
              : { message: String(error), stack: undefined };
          port.postMessage({
            error: { message, stack, fields: JSON.parse(JSON.stringify(fields)) as Record<string, unknown> },
          } satisfies Answer<Result>);
        },
      );
  });
}
