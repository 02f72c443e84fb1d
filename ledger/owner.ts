/**
 * Whose an unfinished file is. Its name carries the process that makes it: the machine (files/machine-id.ts), the space
 * in which its number means something (boot and namespace), its number, and when it was born. So whoever shares all of
 * this can look whether the process lives, and nobody else concludes anything from a name.
 *
 *   .rushlight-part-<machine, 32>-<space, 12>-<pid>-<born, 12>-<of this file, 12>
 */
import { createHash, randomBytes } from 'node:crypto';
import { machineId } from '../files/machine-id.ts';
import { processIdentity, processSpace } from '../process/identity.ts';
import { STAGING_PREFIX } from './layout.ts';

export interface Owner {
  /** 32 hex digits. */
  readonly machine: string;
  /** 12 hex digits. */
  readonly space: string;
  readonly pid: number;
  /** 12 hex digits: another process with this number has others. */
  readonly born: string;
}

const shortOf = (text: string): string => createHash('sha256').update(text).digest('hex').slice(0, 12);
const FORM = /^([0-9a-f]{32})-([0-9a-f]{12})-(\d{1,10})-([0-9a-f]{12})$/;

export function ownerName({ machine, space, pid, born }: Owner): string {
  return `${machine}-${space}-${pid}-${born}`;
}

/** null: no name of an owner. */
export function ownerOfName(name: string): Owner | null {
  const [, machine, space, pid, born] = FORM.exec(name) ?? [];
  return machine === undefined || space === undefined || pid === undefined || born === undefined
    ? null
    : { machine, space, pid: Number(pid), born };
}

const STAGED = new RegExp(
  `^${STAGING_PREFIX.replaceAll('.', '\\.')}([0-9a-f]{32}-[0-9a-f]{12}-\\d{1,10}-[0-9a-f]{12})-[0-9a-f]{12}(?:\\.|$)`,
);

/** Who made the file of this name; null: no staging name, or one that does not say. */
export function ownerOfStaged(name: string): Owner | null {
  return ownerOfName(STAGED.exec(name)?.[1] ?? '');
}

/** `gone`: the process does not live any more, for certain. `elsewhere`: it cannot be seen from here. */
export type OwnerState = 'lives' | 'gone' | 'elsewhere';

/** `bornOf`: of the process that has this number here now; null when none has. Pure but for it. */
export function judgeOwner(
  owner: Owner,
  here: Pick<Owner, 'machine' | 'space'>,
  bornOf: (pid: number) => string | null,
): OwnerState {
  if (owner.machine !== here.machine || owner.space !== here.space) return 'elsewhere';
  return bornOf(owner.pid) === owner.born ? 'lives' : 'gone';
}

export function bornHere(pid: number): string | null {
  const identity = processIdentity(pid);
  return identity === null ? null : shortOf(identity);
}

let self: Owner | undefined;

/** This process. */
export function thisOwner(): Owner {
  if (self !== undefined) return self;
  const space = processSpace();
  const born = bornHere(process.pid);
  const { id: machine } = machineId();
  // Where a process number means nothing, a space of its own: then no other process takes this one for known.
  const own = randomBytes(6).toString('hex');
  self =
    space === null || born === null
      ? { machine, space: own, pid: process.pid, born: own }
      : { machine, space: shortOf(space), pid: process.pid, born };
  return self;
}

/** Another process's owner, as seen from this one. */
export function ownerState(owner: Owner): OwnerState {
  return judgeOwner(owner, thisOwner(), bornHere);
}

/** Of one attempt and one file. */
export function newToken(owner: Owner = thisOwner()): string {
  return `${ownerName(owner)}-${randomBytes(6).toString('hex')}`;
}
