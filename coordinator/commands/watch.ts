/** `rushlight status --watch`: looks again every two seconds while a run is at work, then says what came of it. Reads what the run writes, and nothing else. */
import { setTimeout as wait } from 'node:timers/promises';
import { readProgress } from '../night/keep-progress.ts';
import type { ProgressRecord } from '../progress/record.ts';
import { plainLines, watchLines } from '../show/watch-text.ts';
import { readLock } from '../store/lock.ts';

const LOOK_MILLISECONDS = 2_000;
/** Where there is no screen, a line only as often as somebody would read it. */
const LINES_MILLISECONDS = 10_000;
const HOME = '\u001b[H';
const END_OF_LINE = '\u001b[K';
const BELOW = '\u001b[J';
const CLEAR = '\u001b[2J';

interface Shower {
  show(record: ProgressRecord): void;
}

/** Each line is written over itself, so that nothing flickers. */
function onScreen(out: NodeJS.WriteStream): Shower {
  let begun = false;
  return {
    show: (record) => {
      const lines = watchLines(record, { columns: out.columns, rows: out.rows - 1 });
      out.write(
        `${begun ? '' : CLEAR}${HOME}${lines.map((line) => `${line}${END_OF_LINE}\n`).join('')}${BELOW}`,
      );
      begun = true;
    },
  };
}

/** What changed since the last look. */
function inLines(out: NodeJS.WritableStream, now: () => number): Shower {
  let last = Number.NEGATIVE_INFINITY;
  const told = new Map<string, string>();
  return {
    show: (record) => {
      if (now() - last < LINES_MILLISECONDS) return;
      last = now();
      for (const line of plainLines(record)) {
        const [roll = ''] = line.split(':');
        if (told.get(roll) !== line) out.write(`${line}\n`);
        told.set(roll, line);
      }
    },
  };
}

/** Returns when no run is at work in the work folder any more, or at an interrupt. */
export async function watchRun(work: string, signal: AbortSignal): Promise<void> {
  const out = process.stdout;
  const shower = out.isTTY ? onScreen(out) : inLines(out, () => performance.now());
  while (!signal.aborted) {
    const lock = await readLock(work);
    if (lock.state !== 'alive') return;
    const record = await readProgress(work, lock.lease?.run ?? null);
    if (record !== null) shower.show(record);
    await wait(LOOK_MILLISECONDS, undefined, { signal }).catch(() => undefined);
  }
}
