/** The rolls of a day as a plan takes them: each read and surveyed, then all of them planned. Reads all of the day; writes nothing. */
import type { Followed } from '../pull/pulling.ts';
import { takeStretches } from '../pull/pulling.ts';
import type { PullOrder } from '../pull/order.ts';
import type { NightFolders } from '../roll/folders.ts';
import {
  type KnownRoll,
  planRoll,
  probeRoll,
  type RollContext,
  unknownRoll,
  unlessBroken,
  verifyRoll,
} from '../roll/know.ts';
import { addProductionSound } from '../roll/production-sound.ts';
import type { DiscoveredRoll } from '../intake/index.ts';

/** How long it took, in seconds. */
interface Spent {
  readonly reading: number;
  readonly measuring: number;
}

export interface ReadRoll extends Spent {
  readonly known: KnownRoll;
  readonly mayPlan: boolean;
}

type PlanOfRoll = Awaited<ReturnType<typeof planRoll>>;

export interface PlannedRoll extends PlanOfRoll, Spent {
  readonly known: KnownRoll;
}

const NOTHING: PlanOfRoll = {
  jobs: [],
  done: 0,
  planned: 0,
  withoutRoom: { deliverables: 0, bytes: 0 },
  volumes: [],
  secondDecodes: { clips: 0, seconds: 0 },
  again: () => null,
};

/** One after the other. Throws the signal's reason. */
export async function readRolls(
  asked: readonly DiscoveredRoll[],
  folders: NightFolders,
  context: RollContext,
): Promise<ReadRoll[]> {
  const rolls: ReadRoll[] = [];
  for (const roll of asked) {
    const known = unknownRoll(roll, folders);
    let mayPlan = false;
    const began = performance.now();
    let read = began;
    await unlessBroken(known, context, async () => {
      known.intake = await verifyRoll(roll, context);
      read = performance.now();
      mayPlan = await probeRoll(known, context);
    });
    context.signal.throwIfAborted();
    rolls.push({
      known,
      mayPlan,
      reading: (read - began) / 1000,
      measuring: (performance.now() - read) / 1000,
    });
  }
  return rolls;
}

export interface Pull {
  readonly order: PullOrder;
  readonly followed: Followed;
}

/** Those that the cut uses; without one all. What clips carry of sound rolls is known once all are read. Throws the signal's reason. */
export async function planRolls(
  rolls: readonly ReadRoll[],
  pull: Pull | null,
  context: RollContext,
): Promise<PlannedRoll[]> {
  const day = rolls.map(({ known }) => known);
  const plans: PlannedRoll[] = [];
  for (const { known, mayPlan, reading, measuring } of rolls) {
    // Of a roll that the cut does not use nothing is said.
    if (mayPlan && pull !== null && !takeStretches(known, pull.followed, pull.order.day)) {
      context.runProgress.setPhase(known.roll.name, 'ready');
      continue;
    }
    let plan = NOTHING;
    await unlessBroken(known, context, async () => {
      if (!mayPlan) return;
      await addProductionSound(known, day, context);
      plan = await planRoll(known, context, false);
    });
    context.signal.throwIfAborted();
    plans.push({ ...plan, known, reading, measuring });
  }
  return plans;
}
