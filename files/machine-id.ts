/**
 * Which machine this is, in names and leases: 128 random bits, made once and kept in the machine's own state folder. Never
 * the host's name: two machines may have the same, or names that look alike, and a container's is often fixed.
 *
 * A copied disk or a home folder on a share gives two machines one id. So the id alone proves nothing: whoever concludes
 * anything from it asks for the boot and the process space as well (process/identity.ts).
 */
import { randomBytes } from 'node:crypto';
import { linkSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { homedir } from 'node:os';
import { join } from 'node:path';

/** 32 lower-case hex digits. */
const FORM = /^[0-9a-f]{32}$/;

export interface MachineId {
  readonly id: string;
  /** False: the state folder cannot be written, and the id is this process's alone. `why` says what was refused. */
  readonly kept: boolean;
  readonly why?: string;
}

/**
 * XDG_STATE_HOME (XDG Base Directory Specification 0.8: "state data that should persist between restarts, but is not
 * important or portable enough"; its default is ~/.local/state); on macOS the user's Application Support.
 */
export function stateFolder(): string {
  const { XDG_STATE_HOME: stated } = process.env;
  // The specification: a relative path is invalid and is to be ignored.
  const state = stated?.startsWith('/')
    ? stated
    : process.platform === 'darwin'
      ? join(homedir(), 'Library', 'Application Support')
      : join(homedir(), '.local', 'state');
  return join(state, 'rushlight');
}

function readId(path: string): string | null {
  try {
    const text = readFileSync(path, 'latin1').trim();
    return FORM.test(text) ? text : null;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw error;
  }
}

/** Codes of a file system without link(2); there the name is taken by exclusive creation alone. */
const NO_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK']);

/** Of many that make it at once one wins, and all read the winner's. */
function makeId(folder: string, path: string): string {
  mkdirSync(folder, { recursive: true, mode: 0o700 });
  const id = randomBytes(16).toString('hex');
  const part = `${path}.${id}`;
  writeFileSync(part, `${id}\n`, { flag: 'wx', mode: 0o600, flush: true });
  try {
    linkSync(part, path);
  } catch (error) {
    const { code = '' } = error as NodeJS.ErrnoException;
    if (NO_LINKS.has(code)) writeFileSync(path, `${id}\n`, { flag: 'wx', mode: 0o600, flush: true });
    else if (code !== 'EEXIST') throw error;
  } finally {
    rmSync(part, { force: true });
  }
  const made = readId(path);
  // A torn or foreign text: to write over it could take a living machine's id from under it.
  if (made === null) throw new Error(`${path} holds no machine id`);
  return made;
}

/** Reads or makes it, in `folder`. Never throws: a machine that cannot keep an id has one for this process. */
export function machineIdIn(folder: string): MachineId {
  const path = join(folder, 'machine-id');
  try {
    return { id: readId(path) ?? makeId(folder, path), kept: true };
  } catch (error) {
    return { id: randomBytes(16).toString('hex'), kept: false, why: (error as Error).message };
  }
}

let known: MachineId | undefined;

/** Of this machine; asked of the disk once in a process. */
export function machineId(): MachineId {
  known ??= machineIdIn(stateFolder());
  return known;
}
