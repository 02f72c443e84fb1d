/** Plans rolls against a delivery that may hold some of the work already. */
import type { Clip } from '../../ledger/clip.ts';
import { type Job, jobKey, type NamedJob } from '../../ledger/job.ts';
import { areStillsFinished, readStills } from '../../ledger/stills.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import {
  type Deliverable,
  type NightPlan,
  type PlanRequest,
  planNight,
  type RollToPlan,
  type VolumeToPlan,
} from '../plan/index.ts';
import { learnedSizes } from '../plan/learned.ts';
import { isFinished } from '../night/resume.ts';

const DELIVERY_VOLUME = 'the delivery';
const unlimited: VolumeToPlan = { name: DELIVERY_VOLUME, freeBytes: null, freeFiles: null };

export interface DeliveryPlanRequest
  extends Pick<PlanRequest, 'night' | 'run' | 'day' | 'profiles' | 'masters' | 'segmentsFor' | 'lying'> {
  readonly rolls: readonly Omit<RollToPlan, 'volume'>[];
  readonly toolchain: Toolchain;
  readonly signal: AbortSignal;
  /** `plan` writes nothing: a report that only has to be completed stays as it is. */
  readonly mayWrite: boolean;
  /** Asked after the finished files were read, which may take long. */
  volume(): Promise<Omit<VolumeToPlan, 'name'>>;
}

export interface DeliveryPlan extends NightPlan {
  /** A job once more, the same to the last field; null: none was planned. */
  again(job: NamedJob): Job | null;
}

/** Reads every finished deliverable whole: once to know what would be made, and then without what stands. */
export async function planDelivery(request: DeliveryPlanRequest): Promise<DeliveryPlan> {
  const rolls = request.rolls.map((roll) => ({ ...roll, volume: DELIVERY_VOLUME }));
  const base = {
    night: request.night,
    run: request.run,
    day: request.day,
    rolls,
    profiles: request.profiles,
    masters: request.masters ?? 'with',
    segmentsFor: request.segmentsFor,
    lying: request.lying,
    toolchain: request.toolchain.digest,
    sizes: await learnedSizes(
      rolls.map(({ deliveryFolder }) => deliveryFolder),
      request.profiles,
    ),
  };
  const all = planNight({
    ...base,
    isDone: () => false,
    volumes: [unlimited],
  });
  const key = (roll: string, clip: string, profile: string): string => JSON.stringify([roll, clip, profile]);
  const done = new Set<string>();
  const stillsDone = new Set<string>();
  for (const { job } of all.jobs) {
    if (job.stills !== undefined) {
      const wanted = { contentDigest: job.clip.contentDigest, toolchain: job.toolchain, outcome: job.stills };
      if (areStillsFinished(await readStills(job.deliveryFolder, job.clip.id), wanted))
        stillsDone.add(key(job.roll, job.clip.id, ''));
    }
    for (const deliverable of job.deliverables) {
      request.signal.throwIfAborted();
      const { name } = deliverable.profile;
      const loaded = request.profiles.find((one) => one.profile.name === name);
      if (loaded !== undefined && (await isFinished(job, deliverable, { ...request, loaded })))
        done.add(key(job.roll, job.clip.id, name));
    }
  }
  const left = {
    ...base,
    isDone: (item: Deliverable) => done.has(key(item.roll, item.clip.id, item.profile.profile.name)),
    areStillsDone: (roll: string, clip: Clip) => stillsDone.has(key(roll, clip.id, '')),
  };
  const volume: VolumeToPlan = { name: DELIVERY_VOLUME, ...(await request.volume()) };
  return {
    ...planNight({ ...left, volumes: [volume] }),
    again: (named) => {
      const own = rolls
        .filter(({ roll }) => roll === named.roll)
        .map((roll) => ({ ...roll, clips: roll.clips.filter(({ clip }) => clip.id === named.clip.id) }));
      const planned = planNight({ ...left, rolls: own, volumes: [unlimited] }).jobs;
      return planned.find(({ job }) => jobKey(job) === jobKey(named))?.job ?? null;
    },
  };
}
