/** Which process it is, not only its number: numbers are used again. */
import { execFileSync } from 'node:child_process';
import { readFileSync, readlinkSync } from 'node:fs';

/**
 * A text that is the same as long as it is the same process and differs for every other that ever had this number;
 * null when no such process lives. A zombie is dead (proc(5): state Z), although kill(pid, 0) says otherwise.
 */
export function processIdentity(pid: number): string | null {
  return process.platform === 'linux' ? fromProc(pid) : fromPs(pid);
}

function fromProc(pid: number): string | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1');
    // proc(5): the second field is the program's name in parentheses and may hold anything; fields count on after the last one.
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
    const [state] = fields;
    // Field 22, starttime, in clock ticks since boot; the third field is fields[0].
    const started = fields[19];
    if (state === 'Z' || state === 'X' || started === undefined) return null;
    const boot = readFileSync('/proc/sys/kernel/random/boot_id', 'latin1').trim();
    return `${boot}:${started}`;
  } catch {
    // No such process, or one that may not be looked at; the latter exists only for other users' hidden processes.
    return null;
  }
}

function fromPs(pid: number): string | null {
  try {
    const line = execFileSync('ps', ['-o', 'stat=,lstart=', '-p', String(pid)], {
      encoding: 'utf8',
      stdio: ['ignore', 'pipe', 'ignore'],
    }).trim();
    const [state = '', ...started] = line.split(/\s+/);
    return line === '' || state.startsWith('Z') ? null : started.join(' ');
  } catch {
    // ps ends with 1 when there is no such process.
    return null;
  }
}

/**
 * The space in which a process number means something: one boot of one kernel, and one namespace of process numbers
 * (pid_namespaces(7)); containers on one machine have their own. Two equal texts: whoever asks sees the same processes.
 * null: it cannot be known, or /proc shows another namespace's processes than ours; then nobody can be judged by number.
 */
export function processSpace(): string | null {
  try {
    if (process.platform === 'linux') {
      // proc(5): /proc/self is the number in the namespace that /proc was mounted for.
      if (readlinkSync('/proc/self') !== String(process.pid)) return null;
      const boot = readFileSync('/proc/sys/kernel/random/boot_id', 'latin1').trim();
      return `${boot}:${readlinkSync('/proc/self/ns/pid')}`;
    }
    if (process.platform === 'darwin') {
      return execFileSync('sysctl', ['-n', 'kern.bootsessionuuid'], {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
      }).trim();
    }
  } catch {
    // No /proc, or one that hides itself.
  }
  return null;
}
