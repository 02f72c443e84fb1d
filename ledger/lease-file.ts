/**
 * Leases on disk (lease.ts says what they mean): taking one, looking at those of others, giving one back.
 *
 * Names are numbered. Who takes the place of dead leases creates the next number; creation is exclusive (open with O_EXCL),
 * and all who saw the same dead leases try for the same number, so that one of them gets it. Who got it looks once more: every
 * other lease there must be one that it judged dead, unchanged since. Otherwise it had an older view than somebody else,
 * takes its own away and begins again. Only who passed that takes the dead leases away. So the name of a living lease is
 * never replaced, and nobody has to know whether a removal or a rename was seen by others in time.
 *
 * Of two that both pass, one created its file first; the other's look comes after its own creation, so it sees that file, which
 * it cannot have judged dead. Hence no two pass. Two may both step back, when one of them had an old view; they try again
 * after a random time.
 *
 * A keeper rewrites its lease in place, by one write of fixed length. It never renames: a rename that was on its way when a
 * machine froze would put a dead lease over a living one. A file that was taken away meanwhile takes the write with it.
 * A reader that sees half of a write sees a lease that has changed, which is what it wants to know.
 *
 * File systems. link(2) is not needed, so FAT and exFAT will do; both are local, and O_EXCL is the kernel's own there.
 * NFS: O_EXCL is exclusive from version 3 on (RFC 1813, CREATE with EXCLUSIVE), and version 2 is no longer mounted by current
 * systems. Lookups and attributes may be cached for up to a minute, but an open asks the server (close-to-open), so a lease is
 * opened again for every look and every rewrite, and synced before it is closed; a folder's cached checksum list may show an older
 * state, which makes two step back or one wait longer, since names are opened all the same. SMB: exclusive creation is the
 * server's (FILE_CREATE, MS-SMB2 2.2.13), and an opportunistic lock that caches writes is broken by the next opener.
 * None of the three network statements was measured here.
 */
import { randomUUID } from 'node:crypto';
import { open, readdir, readFile, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import { belongToFolder } from '../files/belonging.ts';
import { fsPath } from '../files/names.ts';
import {
  judgeLease,
  type Lease,
  LEASE_DEAD_MILLISECONDS,
  type LeasePlace,
  type LeaseState,
  leaseText,
  numberedName,
  numberOfName,
  parseLease,
  sight,
  type Sighting,
} from './lease.ts';
import { ownerName, ownerOfName, ownerState, thisOwner } from './owner.ts';

export interface LeaseTiming {
  /** Milliseconds of a clock that never goes back and that nobody sets. */
  readonly now: () => number;
  readonly deadMilliseconds: number;
}
export const realTiming: LeaseTiming = {
  now: () => performance.now(),
  deadMilliseconds: LEASE_DEAD_MILLISECONDS,
};

function codeOf(error: unknown): string {
  return (error as NodeJS.ErrnoException).code ?? '';
}

/** null: there is none. */
async function leaseContent(path: string): Promise<string | null> {
  try {
    return await readFile(fsPath(path), 'utf8');
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
}

/** What one observer has seen, and for how long. */
export interface LeaseWatch {
  readonly timing: LeaseTiming;
  look(path: string): Promise<{ readonly state: LeaseState; readonly content: string | null }>;
}

export function watchLeases(timing: LeaseTiming = realTiming): LeaseWatch {
  const seen = new Map<string, Sighting>();
  const stateOfOwner = (lease: Lease) => {
    const owner = ownerOfName(lease.owner);
    return owner === null ? 'elsewhere' : ownerState(owner);
  };
  return {
    timing,
    async look(path) {
      const content = await leaseContent(path);
      if (content === null) seen.delete(path);
      else seen.set(path, sight(seen.get(path), content, timing.now()));
      const state = judgeLease(
        seen.get(path) ?? null,
        { now: timing.now(), deadMilliseconds: timing.deadMilliseconds },
        null,
        stateOfOwner,
      );
      return { state, content };
    },
  };
}

/** Numbers of the leases of a place, highest first; none where there is no such folder. */
async function numbersIn(place: LeasePlace): Promise<number[]> {
  try {
    return (await readdir(fsPath(place.folder)))
      .flatMap((name) => numberOfName(place, name) ?? [])
      .sort((a, b) => b - a);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return [];
    throw error;
  }
}

/** One's own, as it was taken. */
export interface HeldLease {
  readonly path: string;
  readonly lease: Lease;
}

type Others = Extract<LeaseState, { state: 'alive' | 'unchanged' }>;

/** How it stands with a place; `free` when only dead leases lie there, and `dead` names the highest of them. */
export type PlaceState = Others | { readonly state: 'free'; readonly dead: Lease | null };

interface Looked {
  readonly state: PlaceState;
  readonly highest: number;
  /** By number, what was judged dead. */
  readonly dead: ReadonlyMap<number, string>;
}

async function lookAt(place: LeasePlace, watch: LeaseWatch): Promise<Looked> {
  const numbers = await numbersIn(place);
  const dead = new Map<number, string>();
  let others: Others | null = null;
  for (const number of numbers) {
    const { state, content } = await watch.look(join(place.folder, numberedName(place, number)));
    if (state.state === 'dead' && content !== null) dead.set(number, content);
    // One that lives says more than one of which nothing is known yet.
    else if (state.state === 'alive' || (state.state === 'unchanged' && others === null)) others = state;
  }
  const [first] = dead.values();
  return {
    state: others ?? { state: 'free', dead: first === undefined ? null : parseLease(first) },
    highest: numbers[0] ?? 0,
    dead,
  };
}

/** Writes nothing. */
export async function stateOfPlace(
  place: LeasePlace,
  watch: LeaseWatch = watchLeases(),
): Promise<PlaceState> {
  return (await lookAt(place, watch)).state;
}

export function newLease(run: string, after: readonly string[] = []): Lease {
  return {
    version: 0,
    kind: 'lease',
    owner: ownerName(thisOwner()),
    run,
    token: randomUUID(),
    counter: 0,
    after: [...after],
    since: new Date().toISOString(),
  };
}

/** False: the name is taken. */
export async function createLease(path: string, lease: Lease): Promise<boolean> {
  let handle: Awaited<ReturnType<typeof open>>;
  try {
    handle = await open(fsPath(path), 'wx', 0o644);
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false;
    throw error;
  }
  try {
    await handle.writeFile(leaseText(lease));
    await belongToFolder(handle, dirname(path));
    await handle.sync();
  } catch (error) {
    // On a full volume an empty file would be left under the name.
    await rm(fsPath(path), { force: true });
    throw error;
  } finally {
    await handle.close();
  }
  return true;
}

/** One try. `again`: others tried at the same time, and nobody is known to have it. */
async function tryOnce(
  place: LeasePlace,
  run: string,
  watch: LeaseWatch,
): Promise<{ readonly held: HeldLease } | { readonly others: Others } | 'again'> {
  const { state, highest, dead } = await lookAt(place, watch);
  if (state.state !== 'free') return { others: state };
  const number = highest + 1;
  const path = join(place.folder, numberedName(place, number));
  const lease = newLease(
    run,
    [...dead.values()].flatMap((content) => parseLease(content)?.token ?? []),
  );
  if (!(await createLease(path, lease))) return 'again';
  const mine = { path, lease };
  if (!(await isAlone(place, number, dead, mine))) {
    await releaseLease(mine);
    return 'again';
  }
  for (const other of dead.keys())
    await rm(fsPath(join(place.folder, numberedName(place, other))), { force: true });
  return { held: mine };
}

/** Mine stands there as it was written, and with it only those that were judged dead, and all of them, unchanged. */
async function isAlone(
  place: LeasePlace,
  number: number,
  dead: ReadonlyMap<number, string>,
  mine: HeldLease,
): Promise<boolean> {
  const now = await numbersIn(place);
  if (!now.every((other) => other === number || dead.has(other))) return false;
  if ((await leaseContent(mine.path)) !== leaseText(mine.lease)) return false;
  for (const [other, content] of dead)
    if ((await leaseContent(join(place.folder, numberedName(place, other)))) !== content) return false;
  return true;
}

export interface TakeRequest {
  readonly place: LeasePlace;
  readonly run: string;
  readonly watch?: LeaseWatch;
  /** Between two looks at a lease of which nothing is known yet, or that is waited for. */
  readonly lookMilliseconds?: number;
  /** Waits for the end of whoever has it. */
  readonly wait?: boolean;
  /** Called when something is waited for, and again when what is known of it changes. */
  readonly onWait?: (others: PlaceState) => void;
  readonly signal?: AbortSignal;
}

const LOOK_MILLISECONDS = 1_000;

/** Gives the lease, or what lives in its place. Throws what node:fs throws, and the signal's reason. */
export async function takeLease(request: TakeRequest): Promise<HeldLease | Others> {
  const { place, run, watch = watchLeases(), lookMilliseconds = LOOK_MILLISECONDS, signal } = request;
  let reported = '';
  for (let round = 1; ; ) {
    signal?.throwIfAborted();
    const tried = await tryOnce(place, run, watch);
    if (tried === 'again') {
      await setTimeout(Math.random() * 20 * round, undefined, { signal });
      round = Math.min(round + 1, 50);
      continue;
    }
    if ('held' in tried) return tried.held;
    const { others } = tried;
    if (others.state === 'alive' && request.wait !== true) return others;
    if (reported !== others.state) request.onWait?.(others);
    reported = others.state;
    await setTimeout(lookMilliseconds, undefined, { signal });
  }
}

/**
 * Takes one's own lease away; another's that has its name by now is left. Between the look and the removal lies a gap: who is
 * frozen in it for a minute and longer takes away the lease of whoever took over, who then stops. Nobody goes on unseen.
 */
export async function releaseLease({ path, lease }: HeldLease): Promise<void> {
  const content = await leaseContent(path);
  if (content === null) return;
  const read = parseLease(content);
  if (read === null ? content === '' : read.token === lease.token) await rm(fsPath(path), { force: true });
}

/** Which run has the delivery, as far as one look can tell: of the run that was last to take it. null: none. */
export async function runAtWork(place: LeasePlace): Promise<Lease | null> {
  for (const number of await numbersIn(place)) {
    const content = await leaseContent(join(place.folder, numberedName(place, number)));
    const lease = content === null ? null : parseLease(content);
    if (lease !== null) return lease;
  }
  return null;
}
