/** What makes the jobs of a run into files, and looks after it: room, target, tracker and watch. */
import { machineId } from '../../files/machine-id.ts';
import type { SimulatedMachine } from '../forecast/simulate.ts';
import { freshReservation, type Reservation } from '../roll/space.ts';
import { type DeliveryHold, targetUnderHold } from './delivery-hold.ts';
import type { Engine } from './engine.ts';
import { type JobTracker, startJobTracker } from './job-tracker.ts';
import type { NightRequest } from './request.ts';
import type { NightContext } from './roll.ts';
import type { RunState } from './run-state.ts';
import { openTarget } from './target.ts';
import { type TargetCondition, targetCondition } from './target-condition.ts';
import { startWatch, type Watch } from './watch.ts';
import { defaultSlots, defaultWorkers } from './workers.ts';

export interface Making {
  readonly reservation: Reservation;
  readonly target: NightContext['target'];
  readonly condition: TargetCondition;
  readonly tracker: JobTracker;
  readonly watch: Watch;
}

/** Who makes jobs of the run, as far as it sees now. */
export function machinesOf(request: NightRequest, engine: Engine): () => readonly SimulatedMachine[] {
  const workers = workersOf(request);
  const here = {
    id: machineId().id,
    slots: workers * (request.slots ?? defaultSlots(Math.max(1, workers))),
  };
  return () => (request.queue === null ? [here] : (engine.machines?.making() ?? []));
}

/** What estimates for the order of jobs rest on: they need only be right beside each other. */
export const firstOf = ([first]: readonly SimulatedMachine[]): {
  readonly machine: string;
  readonly slots: number;
} => (first === undefined ? { machine: '', slots: 1 } : { machine: first.id, slots: first.slots });

/** Jobs that run side by side on all of them. */
export const slotsOf = (machines: readonly SimulatedMachine[]): number =>
  machines.reduce((sum, { slots }) => sum + slots, 0);

const workersOf = ({ workers }: NightRequest): number => workers ?? defaultWorkers();

export async function beginMaking(
  request: NightRequest,
  run: RunState,
  engine: Engine,
  hold: DeliveryHold,
): Promise<Making> {
  const { events, log } = run;
  const { delivery } = request.folders;
  const reservation = freshReservation(delivery);
  const target = targetUnderHold(await openTarget(delivery), hold);
  const workers = workersOf(request);
  const jobsAtOnce = workers * (request.slots ?? defaultSlots(Math.max(1, workers)));
  const condition = targetCondition({
    target,
    reserveBytes: () => reservation.largest() * jobsAtOnce,
    events,
  });
  const tracker = startJobTracker({
    run: run.run,
    queue: engine.queue,
    events,
    signal: run.signal,
    isTargetHealthy: condition.isWell,
    fitFor: (queue) => engine.machines?.fitFor(queue) ?? [],
    slotsFor: (queue) => engine.machines?.slotsFor(queue) ?? jobsAtOnce,
    log,
  });
  const watch = startWatch({
    tracker,
    target: condition,
    events,
    patienceSeconds: request.patienceSeconds,
    stallSeconds: request.stallSeconds,
    workersAtWork: engine.workersAtWork,
    machines: () => engine.machines,
    log,
  });
  return { reservation, target, condition, tracker, watch };
}
