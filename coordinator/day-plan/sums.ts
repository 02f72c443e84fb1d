/** A plan in figures: of the whole day, and of each of its rolls. Pure. */
import { sketchBytes } from '../../profiles/outcome/picture-error.ts';
import { jobsOf } from '../dispatch/segments.ts';
import { type EstimateRequest, paceOf, unknownKinds } from '../forecast/estimate.ts';
import { cadenceOfRoll } from '../plan/cadence.ts';
import { leftOfRoll } from '../plan/left.ts';
import { shapesOfRoll } from '../plan/shapes.ts';
import { shownOfRoll } from '../plan/shown.ts';
import { soundOfRoll } from '../plan/sound.ts';
import { secondsOf } from '../plan/time.ts';
import type { PlannedJob } from '../plan/types.ts';
import type { MastersTurn } from '../plan/waves.ts';
import { writtenOfRoll } from '../plan/written.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { PlannedRoll as RollInFigures, WholePlan } from '../show/plan-text.ts';
import type { PlannedRoll } from './rolls.ts';

export const sumOf = <Item>(items: readonly Item[], of: (item: Item) => number): number =>
  items.reduce((sum, item) => sum + of(item), 0);

export interface DayInFigures {
  readonly plans: readonly PlannedRoll[];
  readonly workers: number;
  /** Of the file system that the delivery lies on; null: it has no count of files. */
  readonly room: { readonly freeBytes: number; readonly freeFiles: number | null };
  /** By which jobs are estimated. */
  readonly estimate: EstimateRequest;
  readonly forecast: NightForecast;
  /** Milliseconds since 1970, UTC: when the run would begin. */
  readonly now: number;
  readonly masters: MastersTurn;
}

export function wholePlanOf(day: DayInFigures): WholePlan {
  const { plans, workers, room, estimate, forecast, now, masters } = day;
  const jobs = plans.flatMap((plan) => plan.jobs);
  const volumes = plans.flatMap((plan) => plan.volumes);
  return {
    planned: sumOf(plans, (one) => one.planned),
    done: sumOf(plans, (one) => one.done),
    withoutRoom: {
      deliverables: sumOf(plans, (one) => one.withoutRoom.deliverables),
      bytes: sumOf(plans, (one) => one.withoutRoom.bytes),
    },
    volumes: volumes.slice(0, 1).map(({ name }) => ({
      name,
      bytes: sumOf(volumes, (one) => one.bytes),
      files: sumOf(volumes, (one) => one.files),
      ...room,
    })),
    workers,
    seconds: secondsOf(
      jobs.flatMap((one) => jobsOf(one, one.segments)),
      workers,
    ),
    masters: {
      turn: masters,
      clips: sumOf(plans, ({ secondDecodes }) => secondDecodes.clips),
      seconds: sumOf(plans, ({ secondDecodes }) => secondDecodes.seconds) * paceOf(jobs, estimate),
    },
    ready: {
      ...forecast,
      from: new Date(now).toISOString(),
      unknownKinds: unknownKinds(
        jobs.map(({ job }) => job),
        estimate,
      ),
    },
  };
}

/** Clips that several workers make side by side, by the number of their segments. */
function cutOfRoll(jobs: readonly PlannedJob[]): RollInFigures['cut'] {
  const cut = new Map<number, string[]>();
  for (const { job, segments } of jobs)
    if (segments > 1) cut.set(segments, [...(cut.get(segments) ?? []), job.clip.id]);
  return [...cut].map(([segments, clips]) => ({ segments, clips }));
}

export function rollInFigures({ known, jobs, withoutRoom }: PlannedRoll): RollInFigures {
  return {
    roll: known.roll.name,
    clips: known.clips.length,
    recordings: known.recordings.length,
    jobs: jobs.length,
    cut: cutOfRoll(jobs),
    withoutRoom,
    deliverables: sumOf(jobs, ({ job }) => job.deliverables.length),
    bytes: sumOf(jobs, ({ bytes }) => bytes),
    bytesRange: {
      least: sumOf(jobs, ({ bytesRange }) => bytesRange.least),
      most: sumOf(jobs, ({ bytesRange }) => bytesRange.most),
    },
    left: leftOfRoll(jobs),
    shown: shownOfRoll(jobs),
    shapes: shapesOfRoll(jobs),
    cadence: cadenceOfRoll(jobs),
    sound: soundOfRoll(jobs),
    written: writtenOfRoll(jobs),
    sketchBytes: sumOf(jobs, ({ job }) =>
      sumOf(job.deliverables, ({ outcome }) => (outcome.kind === 'movie' ? sketchBytes(outcome) : 0)),
    ),
  };
}
