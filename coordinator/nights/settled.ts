/** Which rolls may be taken: by how long nothing of them changed before the observer's own clock, and by what their manifests lack. Pure. */

/** One look, and since when every look saw the same. */
export interface RollSighting {
  /** SHA-256 of all that can be seen without reading (intake/look.ts). */
  readonly seen: string;
  /** Milliseconds of the observer's monotonic clock. */
  readonly since: number;
  /** What its manifest lacks, or what is the matter with it. */
  readonly lacks: number;
}

export interface Patience {
  readonly settledMilliseconds: number;
  readonly incompleteMilliseconds: number;
}

/** `growing`: it changed a moment ago. `incomplete`: it stands still, and lacks something. `settled`: it may be taken. */
export const settlings = ['growing', 'incomplete', 'settled'] as const;
export type Settling = (typeof settlings)[number];

export function sightRoll(
  before: RollSighting | undefined,
  look: { readonly seen: string; readonly lacks: number },
  now: number,
): RollSighting {
  return { ...look, since: before?.seen === look.seen ? before.since : now };
}

/** A roll that lacks something is taken in the end: whoever waits for it is to be told what, by the night itself. */
export function settlingOf({ since, lacks }: RollSighting, patience: Patience, now: number): Settling {
  const quiet = now - since;
  if (quiet < patience.settledMilliseconds) return 'growing';
  if (lacks === 0) return 'settled';
  return quiet < patience.incompleteMilliseconds ? 'incomplete' : 'settled';
}
