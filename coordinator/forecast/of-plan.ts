/** When the rolls of a plan would be ready, if the run began now on this machine. Pure. */
import type { OrderedJob, RollRank } from '../dispatch/order.ts';
import { jobsOf } from '../dispatch/segments.ts';
import { jobKey } from '../../ledger/job.ts';
import type { PlannedJob } from '../plan/types.ts';
import type { NightForecast } from '../progress/forecast.ts';
import { chanceOf } from './chance.ts';
import { type Dues, inTime } from './dues.ts';
import { estimated } from './estimate.ts';
import { forecast, type ForecastJob, nightsFor } from './forecast.ts';
import { kindOf } from './kind.ts';
import type { JobSample } from './sample.ts';
import { speedOf } from './speed.ts';
import { ordered } from './waiting.ts';

export interface PlanToForecast {
  /** In the order in which they are read. */
  readonly rolls: readonly {
    readonly roll: string;
    readonly rank: RollRank;
    /** Seconds that reading it took now, and then measuring it. */
    readonly reading: number;
    readonly measuring: number;
    readonly jobs: readonly PlannedJob[];
  }[];
  readonly machine: string;
  /** Jobs side by side. */
  readonly slots: number;
  readonly samples: readonly JobSample[];
  readonly dues: Dues;
  /** Milliseconds since 1970, UTC. */
  readonly now: number;
}

export function forecastOfPlan({ rolls, machine, slots, samples, dues, now }: PlanToForecast): NightForecast {
  const jobs = rolls.flatMap(({ roll, rank, jobs: own }) =>
    estimated(own, { machine, slots, samples, run: null })
      .flatMap((planned) => jobsOf(planned, planned.segments))
      .map(({ job, seconds }, place): ForecastJob & OrderedJob => ({
        ...{ rollName: roll, roll: rank, place, seconds, tableSeconds: seconds },
        kind: kindOf(job),
        frames: job.span.count,
        wave: job.wave,
        cut:
          job.segments === undefined
            ? undefined
            : { clip: JSON.stringify([roll, jobKey(job)]), joins: job.segment === undefined },
      })),
  );
  let read = 0;
  const releases = rolls.map(({ roll, reading, measuring }) => {
    // One roll is read at a time; the next one meanwhile, while this is measured.
    read += reading;
    return { at: read + measuring, jobs: jobs.filter(({ rollName }) => rollName === roll) };
  });
  const said = forecast({
    machines: [{ id: machine, slots }],
    waiting: () => ordered<ForecastJob & OrderedJob>(slots),
    releases,
    running: [],
    speedOf: (kind) => speedOf(samples, { kind, machine, run: null, beside: slots - 1 }),
    // The same plan gives the same forecast.
    chance: chanceOf(jobs.length),
    nights: nightsFor(jobs.length),
  });
  return {
    timeZone: dues.timeZone,
    // It is of this machine alone.
    others: 0,
    whole: said.whole,
    proxies: said.proxies,
    rolls: said.rolls.map(({ roll, ready, unknown, nobody }) => {
      const due = dues.of(roll);
      return {
        ...{ roll, left: ready, unknown, nobody },
        due: due === null ? null : new Date(due).toISOString(),
        inTime: inTime(ready, due, now),
      };
    }),
  };
}
