/**
 * Who is at work on a delivery: what a lease says, and what an observer may conclude from it. Pure.
 *
 * Three kinds lie in the delivery folder, hidden:
 *   .rushlight-lease-run-<n>       the run that has the delivery; one lives at a time
 *   .rushlight-lease-worker-<id>   a worker process that makes files there; any number
 *   .rushlight-lease-coordinator-<n>   the standing coordinator that begins nights there; one at a time
 *
 * One run for a delivery, not for a day of it: the room on the volume is counted, and what dead machines left is swept, for
 * the whole delivery, and two runs would do both against each other. Who must deliver two days at once gives two folders.
 *
 * A lease holds a counter that its keeper raises every few seconds. Clocks of two machines are never compared: an observer
 * takes a lease for dead when by its own monotonic clock it has seen it unchanged for LEASE_DEAD_MILLISECONDS. A process of
 * the same machine, boot and process space is asked for directly, and known to be gone at once.
 */
import { z } from 'zod';
import { OWN_PREFIX } from './layout.ts';
import { ownerOfName, type OwnerState } from './owner.ts';

export const LEASE_BEAT_MILLISECONDS = 10_000;
/** Five beats that did not come, and one more. */
export const LEASE_DEAD_MILLISECONDS = 60_000;

export const LEASE_PREFIX = `${OWN_PREFIX}lease-`;
const WORKER_PREFIX = `${LEASE_PREFIX}worker-`;

/** Where numbered leases lie of which one lives at a time. */
export interface LeasePlace {
  readonly folder: string;
  readonly prefix: string;
}
export const deliveryPlace = (delivery: string): LeasePlace => ({
  folder: delivery,
  prefix: `${LEASE_PREFIX}run-`,
});
/** The standing coordinator that has the delivery, between its nights as well. */
export const coordinatorPlace = (delivery: string): LeasePlace => ({
  folder: delivery,
  prefix: `${LEASE_PREFIX}coordinator-`,
});
/** The work folder of a run: its store and its logs are one run's at a time. */
export const workPlace = (workFolder: string): LeasePlace => ({ folder: workFolder, prefix: 'lease-' });

export const numberedName = ({ prefix }: LeasePlace, number: number): string => `${prefix}${number}`;
/** null: no lease of this place. */
export function numberOfName({ prefix }: LeasePlace, name: string): number | null {
  const digits = name.startsWith(prefix) ? /^\d{1,9}$/.exec(name.slice(prefix.length))?.[0] : undefined;
  return digits === undefined ? null : Number(digits);
}

export const workerLeaseName = (owner: string): string => `${WORKER_PREFIX}${owner}`;
/** The owner's name; null: no lease of a worker. */
export const workerOfLease = (name: string): string | null =>
  name.startsWith(WORKER_PREFIX) ? name.slice(WORKER_PREFIX.length) : null;

export const leaseSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('lease'),
  /** The process, as staging names carry it (owner.ts). */
  owner: z.string().refine((text) => ownerOfName(text) !== null),
  /** Of a run its name; of a worker the worker's. */
  run: z.string(),
  /** Of this lease alone: what another one is recognised by. */
  token: z.string(),
  /** Grows with every rewrite. */
  counter: z.int().nonnegative(),
  /** Tokens of the dead leases whose place this one took. */
  after: z.array(z.string()),
  /** ISO 8601 UTC, for people, never for decisions. */
  since: z.string(),
});
export type Lease = z.infer<typeof leaseSchema>;

/** Every rewrite has this length, so that one write replaces all of it. */
export const LEASE_BYTES = 1024;

export function leaseText(lease: Lease): string {
  const text = JSON.stringify(leaseSchema.parse(lease));
  // ASCII but for a run's or worker's name, which are ours as well.
  if (Buffer.byteLength(text) >= LEASE_BYTES) throw new RangeError('a lease that is too long');
  return `${text}${' '.repeat(LEASE_BYTES - 1 - Buffer.byteLength(text))}\n`;
}

/** null: torn, empty, or of another program. */
export function parseLease(text: string): Lease | null {
  try {
    const parsed = leaseSchema.safeParse(JSON.parse(text));
    return parsed.success ? parsed.data : null;
  } catch {
    return null;
  }
}

/** What an observer remembers of something that it watches: its content, and since when that has not changed. */
export interface Sighting {
  readonly content: string;
  /** Milliseconds of the observer's monotonic clock. */
  readonly since: number;
  /** It has changed before the observer's eyes. */
  readonly changed: boolean;
}

export function sight(before: Sighting | undefined, content: string, now: number): Sighting {
  return before?.content === content ? before : { content, since: now, changed: before !== undefined };
}

export type LeaseState =
  | { readonly state: 'absent' }
  | { readonly state: 'mine' }
  /** Its process lives here, or its counter was seen to grow. */
  | { readonly state: 'alive'; readonly lease: Lease | null }
  /** Nothing is known yet: it has not changed for so long. */
  | { readonly state: 'unchanged'; readonly seconds: number; readonly lease: Lease | null }
  | { readonly state: 'dead'; readonly why: 'unchanged' | 'process-gone'; readonly lease: Lease | null };

/** What an observer judges by: its monotonic clock, and after how long of it without a change something is dead. */
export interface ObserverTime {
  /** Milliseconds. */
  readonly now: number;
  readonly deadMilliseconds: number;
}

/** `sighting` null: there is no such lease. `mine`: token of one's own. */
export function judgeLease(
  sighting: Sighting | null,
  { now, deadMilliseconds }: ObserverTime,
  mine: string | null,
  ownerState: (lease: Lease) => OwnerState,
): LeaseState {
  if (sighting === null) return { state: 'absent' };
  const lease = parseLease(sighting.content);
  if (lease !== null && lease.token === mine) return { state: 'mine' };
  const owner = lease === null ? 'elsewhere' : ownerState(lease);
  if (owner === 'gone') return { state: 'dead', why: 'process-gone', lease };
  const quiet = now - sighting.since;
  // Also of a process that lives here: its keeper has a thread of its own, and one that says nothing for so long is stopped.
  if (quiet >= deadMilliseconds) return { state: 'dead', why: 'unchanged', lease };
  if (owner === 'lives' || sighting.changed) return { state: 'alive', lease };
  return { state: 'unchanged', seconds: Math.floor(quiet / 1000), lease };
}

/** What may become of an unfinished file, for the one that holds the delivery's lease. */
export type LeftoverState = 'lives' | 'not-known-yet' | 'left';

/**
 * `owner`: of the file's name, as seen from here; null: the name does not say. `ownersLease`: that of its owner as a worker
 * (or as the run that has the delivery). `file`: the file itself, watched like a lease.
 */
export function judgeLeftover(
  owner: OwnerState | null,
  ownersLease: LeaseState,
  file: Sighting,
  { now, deadMilliseconds }: ObserverTime,
): LeftoverState {
  if (owner === 'lives') return 'lives';
  if (owner === 'gone') return 'left';
  switch (ownersLease.state) {
    case 'mine':
    case 'alive':
      return 'lives';
    case 'unchanged':
      return 'not-known-yet';
    case 'dead':
      return 'left';
    // Somebody may have taken the lease away by hand, or be about to write it: the file itself is watched as long.
    case 'absent':
      return now - file.since >= deadMilliseconds ? 'left' : 'not-known-yet';
  }
}
