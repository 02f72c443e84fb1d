/** What runs on this machine, by process id. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';

/** True while the process runs. A zombie has ended: signal 0 would still reach it, so the state is read (proc(5)). */
export function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0);
  } catch {
    // ESRCH: no such process.
    return false;
  }
  if (process.platform !== 'linux') return true;
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'utf8');
    return stat.slice(stat.lastIndexOf(')') + 2, stat.lastIndexOf(')') + 3) !== 'Z';
  } catch {
    // Ended between the two looks.
    return false;
  }
}

/** Waits until `look`, asked every `pause` milliseconds, answers something else than undefined or false; throws after `milliseconds`. */
export async function eventually<Value>(
  look: () => Value | undefined | false | Promise<Value | undefined | false>,
  milliseconds = 10_000,
  pause = 20,
): Promise<Value> {
  const until = performance.now() + milliseconds;
  for (;;) {
    const value = await look();
    if (value !== undefined && value !== false) return value;
    if (performance.now() > until) throw new Error('it did not happen in time');
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
}

/** Every process below it, and itself. */
export function treeOf(pid: number): number[] {
  const children = execFileSync('ps', ['-e', '-o', 'pid=,ppid='], { encoding: 'utf8' })
    .trim()
    .split('\n')
    .map((line) => line.trim().split(/\s+/).map(Number))
    .filter(([, parent]) => parent === pid)
    .flatMap(([child]) => treeOf(child as number));
  return [pid, ...children];
}

/** What has ended meanwhile needs no signal. */
export function signal(pids: readonly number[], name: 'SIGSTOP' | 'SIGCONT' | 'SIGKILL'): void {
  for (const pid of pids)
    try {
      process.kill(pid, name);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ESRCH') throw error;
    }
}
