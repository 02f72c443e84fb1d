/** Runs cases of one format in a child that is begun again whenever it dies, and says what each death was. */
import { type ChildProcess, fork } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Fault, Message, Order } from './child.ts';
import { type FuzzFormat, writeSeeds } from './seeds.ts';

/** A case at which a child works for so long hangs, or waits without work for so much longer: on a busy machine time alone says nothing. */
const HANG_SECONDS = 5;
const SILENT_SECONDS = 120;
/** Clock ticks a second in /proc (proc(5), sysconf(_SC_CLK_TCK)): 100 on every Linux that Node runs on. */
const TICKS = 100;

/** Seconds of processor time of a process so far; null where there is no /proc. */
function workedSeconds(pid: number | undefined): number | null {
  try {
    const fields = readFileSync(`/proc/${pid}/stat`, 'latin1')
      .replace(/^.*\) /s, '')
      .split(' ');
    return (Number(fields[11]) + Number(fields[12])) / TICKS;
  } catch {
    return null;
  }
}
const HEAP_MEGABYTES = 400;

export interface FuzzResult {
  readonly format: FuzzFormat;
  readonly cases: number;
  /** Readings that gave a value; all others were refused as damage. */
  readonly values: number;
  readonly faults: readonly Fault[];
}

export interface FuzzRequest {
  readonly format: FuzzFormat;
  readonly seed: number;
  readonly from: number;
  readonly to: number;
  readonly folder: string;
  readonly onCase?: (done: number, faults: readonly Fault[], values: number) => void;
  /** Cases between two words to `onCase`. */
  readonly step?: number;
}

type End =
  | { readonly done: true; readonly values: number }
  | { readonly done: false; readonly at: number; readonly why: string };

export class FuzzChild {
  #child: ChildProcess | null = null;
  readonly #program: string;

  /** `program`: the compiled child.js. */
  constructor(program = fileURLToPath(new URL('./child.js', import.meta.url))) {
    this.#program = program;
  }

  #start(): ChildProcess {
    this.#child ??= fork(this.#program, {
      execArgv: ['--expose-gc', `--max-old-space-size=${HEAP_MEGABYTES}`],
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
    return this.#child;
  }

  close(): void {
    this.#child?.kill('SIGKILL');
    this.#child = null;
  }

  async order(order: Order, onFault: (fault: Fault) => void): Promise<End> {
    const child = this.#start();
    let at = order.from;
    const read = (): void => {
      try {
        at = Math.max(at, Number(readFileSync(join(order.folder, 'case'), 'latin1')));
      } catch {
        // Not begun yet.
      }
    };
    rmSync(join(order.folder, 'case'), { force: true });
    return await new Promise((resolve) => {
      let before = -1;
      let hung = false;
      let since = performance.now();
      let worked = workedSeconds(child.pid);
      const watch = setInterval(() => {
        read();
        if (at !== before) {
          before = at;
          since = performance.now();
          worked = workedSeconds(child.pid);
          return;
        }
        const now = workedSeconds(child.pid);
        const busy = now === null || worked === null ? 0 : now - worked;
        if (busy <= HANG_SECONDS && performance.now() - since <= SILENT_SECONDS * 1000) return;
        hung = true;
        child.kill('SIGKILL');
      }, 250);
      const settle = (end: End): void => {
        clearInterval(watch);
        child.removeAllListeners();
        resolve(end);
      };
      child.on('message', (message: Message) => {
        if ('fault' in message) onFault(message.fault);
        else settle({ done: true, values: message.values });
      });
      child.on('exit', (code, signal) => {
        this.#child = null;
        read();
        settle({
          done: false,
          at,
          why: hung
            ? `hang: no end after ${HANG_SECONDS} s of work`
            : `death: ${signal ?? `exit code ${code}`}`,
        });
      });
      child.send(order);
    });
  }
}

/** Throws when a child cannot be used at all. */
export async function fuzz(request: FuzzRequest, child: FuzzChild): Promise<FuzzResult> {
  const { format, seed, to } = request;
  const folder = join(request.folder, format);
  const seeds = join(folder, 'seeds');
  mkdirSync(folder, { recursive: true });
  await writeSeeds(format, seeds);
  const faults: Fault[] = [];
  let values = 0;
  const step = request.step ?? 500;
  /** Damage that one child showed is believed when a fresh one shows it for that case alone. */
  const alone = async (number: number): Promise<void> => {
    child.close();
    const found: Fault[] = [];
    const end = await child.order({ format, seed, from: number, to: number + 1, seeds, folder }, (fault) =>
      found.push(fault),
    );
    child.close();
    if (!end.done && found.length === 0) found.push({ case: number, reader: 'all', what: end.why });
    for (const fault of found)
      if (!faults.some((one) => one.case === fault.case && one.what === fault.what)) faults.push(fault);
  };
  let from = request.from;
  while (from < to) {
    const until = Math.min(to, from + step);
    const doubtful = new Set<number>();
    const end = await child.order({ format, seed, from, to: until, seeds, folder }, (fault) => {
      if (/^(?:memory|time)/.test(fault.what)) doubtful.add(fault.case);
      else faults.push(fault);
    });
    if (end.done) values += end.values;
    else doubtful.add(end.at);
    for (const number of doubtful) await alone(number);
    from = end.done ? until : end.at + 1;
    request.onCase?.(from, faults, values);
  }
  return { format, cases: to - request.from, values, faults };
}
