/** One rewrite of a lease that is kept, and what it found. With calls that wait: this runs in a thread of its own (lease-thread.ts), and the pool of threads behind the others may be full of work. */
import {
  closeSync,
  fsyncSync,
  openSync,
  readdirSync,
  readFileSync,
  readSync,
  statSync,
  writeSync,
} from 'node:fs';
import { dirname, join } from 'node:path';
import { fsPath } from '../files/names.ts';
import {
  type Lease,
  LEASE_BYTES,
  type LeasePlace,
  leaseText,
  numberedName,
  numberOfName,
  parseLease,
} from './lease.ts';

export interface Kept {
  readonly path: string;
  /** Where others may take its place; null: of a worker, whose place nobody takes. */
  readonly place: LeasePlace | null;
  /** File system of the folder when it was taken. */
  readonly device: bigint;
}

export type BeatOutcome =
  | { readonly kind: 'kept' }
  /** The volume does not answer, or is away. It may come back with the lease as it was. */
  | { readonly kind: 'not-reached'; readonly why: string }
  /** Somebody took its place, or took it away. */
  | { readonly kind: 'lost'; readonly why: string };

function deviceOf(folder: string): bigint | null {
  try {
    return statSync(fsPath(folder), { bigint: true }).dev;
  } catch {
    return null;
  }
}

function messageOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}

/** Whoever took the place of this lease says so in its own. */
function successor(place: LeasePlace, own: string, token: string): Lease | null {
  for (const name of readdirSync(fsPath(place.folder))) {
    const number = numberOfName(place, name);
    if (number === null || numberedName(place, number) === own) continue;
    try {
      const lease = parseLease(readFileSync(fsPath(join(place.folder, name)), 'utf8'));
      if (lease?.after.includes(token) === true) return lease;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
    }
  }
  return null;
}

/** Writes `lease` over its older state. Never throws. */
export function beat({ path, place, device }: Kept, lease: Lease): BeatOutcome {
  try {
    const folder = dirname(path);
    if (deviceOf(folder) !== device) return { kind: 'not-reached', why: 'the volume is away' };
    let file: number;
    try {
      file = openSync(fsPath(path), 'r+');
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
      // Between the two looks the volume may have gone.
      return deviceOf(folder) === device
        ? { kind: 'lost', why: 'it was taken away' }
        : { kind: 'not-reached', why: 'the volume is away' };
    }
    try {
      const bytes = Buffer.alloc(LEASE_BYTES);
      const length = readSync(file, bytes, 0, LEASE_BYTES, 0);
      const onDisk = parseLease(bytes.toString('utf8', 0, length));
      // Torn by a write of our own that was cut off: the name is ours all the same, nobody else ever has it while it lies there.
      if (onDisk !== null && onDisk.token !== lease.token)
        return { kind: 'lost', why: `run ${onDisk.run} has it` };
      writeSync(file, leaseText(lease), 0);
      fsyncSync(file);
    } finally {
      closeSync(file);
    }
    const after = place === null ? null : successor(place, path.slice(folder.length + 1), lease.token);
    return after === null ? { kind: 'kept' } : { kind: 'lost', why: `run ${after.run} took its place` };
  } catch (error) {
    return { kind: 'not-reached', why: messageOf(error) };
  }
}
