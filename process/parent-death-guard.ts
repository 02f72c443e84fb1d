/**
 * Ties a program's life to ours. Node cannot: when it is killed with SIGKILL (or by the kernel for want of memory) its
 * children live on, and a retried job would have two writers. Linux has PR_SET_PDEATHSIG, but that reaches the one
 * program and not what it starts (a wrapper script's encoder), and ends it when the *thread* that started it ends.
 *
 * So every program runs under a shell that leads a process group of its own and holds the read end of a pipe (fd 4)
 * whose only write end is ours. The kernel closes ours however we die; then the whole group is killed.
 */
import { isProgram, programsOnPath } from './program.ts';

/** POSIX shell, "Exit Status for Commands": the command was not found; was found but could not be run. */
export const NOT_FOUND = 127;
export const NOT_RUNNABLE = 126;

/**
 * `read` waits for the end of fd 4; `kill -9 0` is the whole group. SIGTERM to the group is the program's business:
 * shell and watcher outlive it, so that the watch holds during the grace time too. A program that died of a signal is reported
 * as such (the shell dies of the same one, without a core file); 159 = 128 + 31, above it lie programs' own exit codes.
 */
const SHELL = [
  'trap : TERM INT HUP',
  '( trap "" TERM INT HUP; read -r _ <&4; kill -9 0 ) </dev/null >/dev/null 2>&1 3>&- & w=$!',
  '"$@" 4<&- & c=$!',
  // `wait` returns early when the trap runs; the program is gone when it is no longer our child.
  'while :; do wait $c; r=$?; kill -0 $c 2>/dev/null || break; done',
  'kill -9 $w 2>/dev/null; wait $w 2>/dev/null',
  'if [ $r -gt 128 ] && [ $r -le 159 ]; then trap - TERM INT HUP; ulimit -c 0; kill -$((r - 128)) $$; fi',
  'exit $r',
].join('\n');

export function tied(
  command: string,
  args: readonly string[],
  niceness?: number,
): { file: string; args: string[] } {
  const polite = niceness === undefined ? [] : ['nice', '-n', String(niceness)];
  return { file: '/bin/sh', args: ['-c', SHELL, 'sh', ...polite, command, ...args] };
}

/** Why this program cannot be started, or null. Said here, since the shell would only say 126 or 127. */
export function whyNotRunnable(command: string): string | null {
  if (command.includes('/')) return isProgram(command) ? null : `${command} is not a program`;
  return programsOnPath(command).length > 0 ? null : `${command} is not on PATH`;
}
