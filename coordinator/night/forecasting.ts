/**
 * A run's forecast: it knows the jobs that are not over, learns from those that are, and says when rolls will be ready. Nothing is decided by it, and
 * nothing waits for it: what fails here is a line in the log.
 */
import { setImmediate } from 'node:timers/promises';
import { type Finding, finding } from '../../findings/finding.ts';
import { type ClassNeed, needOf } from '../../ledger/farm.ts';
import { jobKey, type Wave } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { readRecord } from '../../ledger/store.ts';
import { inOrder, type OrderedJob, type RollRank } from '../dispatch/order.ts';
import { chanceOf } from '../forecast/chance.ts';
import { type Dues, inTime } from '../forecast/dues.ts';
import {
  type Forecast,
  type ForecastJob,
  forecastSteps,
  nightsFor,
  type Range,
} from '../forecast/forecast.ts';
import { joined, readSpeeds, writeSpeeds } from '../forecast/keep.ts';
import { type Kind, kindKey, kindOf } from '../forecast/kind.ts';
import {
  finishedSchema,
  finishedStillsSchema,
  type JobSample,
  type LearnedJob,
  sampleOf,
} from '../forecast/sample.ts';
import type { SimulatedMachine } from '../forecast/simulate.ts';
import { speedOf } from '../forecast/speed.ts';
import { goOn, type Steps } from '../forecast/steps.ts';
import { inQueues, listed } from '../forecast/waiting.ts';
import type { PlannedJob } from '../plan/types.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import { isEnd } from './job-states.ts';
import type { RunEvents } from './run-events.ts';

export interface ForecastingRequest {
  readonly run: string;
  readonly events: RunEvents;
  /** Machines that make jobs of this run, and how many each at a time. */
  machines(): readonly SimulatedMachine[];
  /** Other runs that share them; absent: none can. */
  others?(): number;
  /** Where a farm's jobs with these needs lie; absent: there is one queue. */
  readonly queueOf?: (need: ClassNeed) => string;
  readonly runProgress: Pick<RunProgress, 'rolls'>;
  readonly dues: Dues;
  log(message: string, fields: Record<string, unknown>): void;
  /** Monotonic, milliseconds. */
  readonly now?: () => number;
}

export interface Forecasting {
  /** Jobs that are to be made from now on. */
  add(rank: RollRank, jobs: readonly Pick<PlannedJob, 'job' | 'seconds'>[]): void;
  /** What was learned before, and in this run so far. */
  samples(): readonly JobSample[];
  /** null: nothing is to be made yet, or any more. */
  now(): NightForecast | null;
  /** Keeps what was learned. Notes. */
  end(): Promise<Finding[]>;
}

/** What the jobs of a roll have in common. */
interface OpenRoll {
  readonly run: string;
  readonly name: string;
  readonly rank: RollRank;
  /** Where its reports lie. */
  readonly deliveryFolder: string;
}

/** Of a clip that is cut each segment is an entry of its own, and so is what joins them. */
const entryKey = (job: Parameters<typeof jobKey>[0] & { readonly segment?: number | undefined }): string =>
  job.segment === undefined ? jobKey(job) : JSON.stringify([jobKey(job), job.segment]);

/** As small as it can be: of a night of many clips all are known here. */
class Open implements ForecastJob, OrderedJob, LearnedJob {
  /** When it was taken, by the clock of this run; null: nobody has it. */
  began: number | null = null;
  /** A segment that waits to be joined: nobody has it, and nobody is to take it. */
  isMade = false;
  readonly of: OpenRoll;
  readonly clip: string;
  readonly place: number;
  readonly seconds: number;
  readonly kind: Kind;
  readonly frames: number;
  readonly wave: Wave | undefined;
  readonly cut: ForecastJob['cut'];
  readonly need: ClassNeed;

  constructor(
    of: OpenRoll,
    { job, seconds }: Pick<PlannedJob, 'job' | 'seconds'>,
    place: number,
    { kind, need }: { readonly kind: Kind; readonly need: ClassNeed },
  ) {
    this.of = of;
    this.clip = job.clip.id;
    this.place = place;
    this.seconds = seconds;
    this.kind = kind;
    this.frames = job.span.count;
    this.wave = job.wave;
    this.cut =
      job.segments === undefined
        ? undefined
        : { clip: JSON.stringify([of.name, jobKey(job)]), joins: job.segment === undefined };
    this.need = need;
  }

  get run(): string {
    return this.of.run;
  }
  get rollName(): string {
    return this.of.name;
  }
  get roll(): RollRank {
    return this.of.rank;
  }
  get tableSeconds(): number {
    return this.seconds;
  }
}

/** What is known of a kind after so many jobs of this run changes little: after that, one in so many is looked at. */
const LEARNED_WELL = 60;
const ONE_IN = 20;
/** Forecasts take no more of the processor than one part in so many. */
const SHARE = 100;
/** While rolls come that the last one knows nothing of: no more than one part in so many. */
const SHARE_BEHIND = 10;
const LEAST_MILLISECONDS = 5_000;
/** What is learned is kept while the run goes on: one that is killed has learned all the same. */
const KEEP_MILLISECONDS = 60_000;

/** Never rejects. */
export async function startForecasting(request: ForecastingRequest): Promise<Forecasting> {
  const { events, log, now = () => performance.now() } = request;
  const before = await readSpeeds();
  /** By roll, and there by `entryKey`. */
  const open = new Map<string, Map<string, Open>>();
  let openJobs = 0;
  /** Many jobs are of few kinds. */
  const kinds = new Map<string, Kind>();
  const needs = new Map<string, ClassNeed>();
  const needFor = (job: PlannedJob['job']): ClassNeed => {
    const need = needOf(job);
    const key = JSON.stringify(need);
    const known = needs.get(key) ?? need;
    needs.set(key, known);
    return known;
  };
  const fresh: JobSample[] = [];
  const learned = new Map<string, number>();
  let known: { readonly jobs: readonly JobSample[]; readonly fresh: number } = {
    jobs: before.jobs,
    fresh: 0,
  };
  /** Put together only when it is asked for. */
  const knownNow = (): readonly JobSample[] => {
    if (known.fresh !== fresh.length)
      known = { jobs: joined(known.jobs, fresh.slice(known.fresh)), fresh: fresh.length };
    return known.jobs;
  };
  const reading = new Set<Promise<void>>();
  let keptAt = now();
  let kept = 0;
  let keepFailed: string | null = null;
  /** How often jobs came. */
  let comings = 0;
  let last: {
    readonly at: number;
    readonly took: number;
    readonly comings: number;
    readonly said: Forecast;
  } | null = null;
  let reckoning: Promise<void> | null = null;
  let isOver = false;

  const keep = async (): Promise<void> => {
    const list = fresh.slice(kept);
    keptAt = now();
    kept = fresh.length;
    try {
      await writeSpeeds(list);
      keepFailed = null;
    } catch (error) {
      kept -= list.length;
      keepFailed = error instanceof Error ? error.message : String(error);
    }
  };
  const learn = async (job: Open): Promise<void> => {
    const key = kindKey(job.kind);
    const count = (learned.get(key) ?? 0) + 1;
    learned.set(key, count);
    if (count > LEARNED_WELL && count % ONE_IN !== 0) return;
    try {
      const sample = await sampleOnDisk(job);
      if (sample === null) return;
      fresh.push(sample);
      if (now() - keptAt > KEEP_MILLISECONDS) await keep();
    } catch (error) {
      log('nothing was learned of a job', { roll: job.rollName, clip: job.clip, error: String(error) });
    }
  };
  events.on('job-moved', ({ job, roll, to }) => {
    const ofRoll = open.get(roll);
    const entry = ofRoll?.get(entryKey(job));
    if (ofRoll === undefined || entry === undefined) return;
    if (to === 'active') entry.began ??= now();
    else if (to === 'pending' || to === 'queued') entry.began = null;
    entry.isMade = to === 'unjoined';
    if (!isEnd(to)) return;
    ofRoll.delete(entryKey(job));
    if (ofRoll.size === 0) open.delete(roll);
    openJobs -= 1;
    // Reports are of whole clips.
    if (to !== 'done' || entry.cut?.joins === false) return;
    const task = learn(entry).finally(() => reading.delete(task));
    reading.add(task);
  });

  /** Of the jobs as they are now, whatever becomes of them meanwhile. */
  const stepsNow = (): Steps<Forecast> => {
    const machines = request.machines();
    const only = machines.length === 1 ? (machines[0]?.id ?? null) : null;
    const slots = new Map(machines.map(({ id, slots: own }) => [id, own]));
    const all = machines.reduce((sum, { slots: own }) => sum + own, 0);
    const list = [...open.values()].flatMap((jobs) => [...jobs.values()].filter(({ isMade }) => !isMade));
    const samples = knownNow();
    const waits = inOrder(
      list.filter(({ began }) => began === null),
      all,
    );
    const { queueOf } = request;
    const queueOfJob = queueOf === undefined ? () => null : ({ need }: Open) => queueOf(need);
    return forecastSteps({
      machines,
      // The list is in order, and so are the parts of it that lie in one queue.
      waiting: () =>
        queueOf === undefined ? listed<Open>() : inQueues<Open>(machines, queueOfJob, () => listed<Open>()),
      queueOf: queueOfJob,
      releases: [{ at: 0, jobs: waits }],
      running: list.flatMap((job) =>
        job.began === null ? [] : [{ job, machine: only, elapsed: (now() - job.began) / 1000 }],
      ),
      speedOf: (kind: Kind, machine) =>
        speedOf(samples, { kind, machine, run: request.run, beside: (slots.get(machine) ?? 1) - 1 }),
      // The same state gives the same forecast.
      chance: chanceOf(openJobs),
      nights: nightsFor(openJobs),
    });
  };
  /** The first slice at once: of few jobs that is all. */
  const reckon = (): void => {
    const at = now();
    const knows = comings;
    let took = 0;
    let steps: Steps<Forecast> | undefined;
    /** False: it goes on in the next slice. */
    const slice = (): boolean => {
      const from = now();
      steps ??= stepsNow();
      const said = goOn(steps);
      took += now() - from;
      if (said !== null) last = { at, took, comings: knows, said };
      return said !== null;
    };
    if (slice()) return;
    const rest = async (): Promise<void> => {
      // Whatever else the run has to hear is heard in between.
      do await setImmediate();
      while (!isOver && !slice());
    };
    reckoning = rest()
      .catch((error: unknown) => log('no forecast', { error: String(error) }))
      .finally(() => {
        reckoning = null;
      });
  };

  return {
    add(rank, jobs) {
      const rolls = new Map<string, OpenRoll>();
      for (const [place, planned] of jobs.entries()) {
        const { run, roll, deliveryFolder } = planned.job;
        const kind = kindOf(planned.job);
        const key = kindKey(kind);
        const known = kinds.get(key) ?? kind;
        kinds.set(key, known);
        const of = rolls.get(roll) ?? { run, name: roll, rank, deliveryFolder };
        rolls.set(roll, of);
        const ofRoll = open.get(roll) ?? new Map<string, Open>();
        open.set(roll, ofRoll);
        const need = needFor(planned.job);
        const job = new Open(of, planned, place, { kind: known, need });
        const own = entryKey(planned.job);
        if (!ofRoll.has(own)) openJobs += 1;
        ofRoll.set(own, job);
      }
      comings += 1;
    },
    samples: knownNow,
    now() {
      if (openJobs === 0) return null;
      const isDue =
        last === null ||
        now() - last.at >
          (last.comings === comings
            ? Math.max(LEAST_MILLISECONDS, SHARE * last.took)
            : SHARE_BEHIND * last.took);
      if (reckoning === null && isDue) reckon();
      if (last === null) return null;
      const shown = asShown(last.said, (now() - last.at) / 1000, request);
      // Of jobs that came meanwhile it knows nothing.
      return last.comings === comings ? shown : { ...shown, whole: null, proxies: null };
    },
    async end() {
      isOver = true;
      await reckoning;
      await Promise.all(reading);
      await keep();
      const failed = keepFailed;
      return [
        ...before.findings,
        ...(failed === null ? [] : [finding('speeds-not-kept', failed, 'a file in the state folder')]),
      ];
    },
  };
}

/** What its reports say now; null: not enough to learn from. */
async function sampleOnDisk(job: Open): Promise<JobSample | null> {
  const { of, clip, kind } = job;
  const { deliveryFolder } = of;
  const deliverables = await Promise.all(
    kind.profiles.map(async ({ name }) => {
      const read = await readRecord(layout.deliverableReport(deliveryFolder, clip, name), finishedSchema);
      return read.state === 'read' ? read.value : null;
    }),
  );
  const stills =
    kind.stills === 0
      ? null
      : await readRecord(layout.stillsReport(deliveryFolder, clip), finishedStillsSchema);
  return sampleOf(job, { deliverables, stills: stills?.state === 'read' ? stills.value : null });
}

/** `since`: seconds since it was computed. */
function asShown(
  { rolls, whole, proxies }: Forecast,
  since: number,
  { runProgress, dues, others }: Pick<ForecastingRequest, 'runProgress' | 'dues' | 'others'>,
): NightForecast {
  const later = (range: Range | null): Range | null =>
    range === null
      ? null
      : { least: Math.max(0, range.least - since), most: Math.max(0, range.most - since) };
  const ahead = runProgress
    .rolls()
    .some(({ phase }) => phase === 'waiting' || phase === 'reading' || phase === 'measuring');
  const clock = Date.now();
  return {
    timeZone: dues.timeZone,
    others: others?.() ?? 0,
    // Of rolls that are still read nobody knows what they hold.
    whole: ahead ? null : later(whole),
    proxies: ahead ? null : later(proxies),
    rolls: rolls.map(({ roll, ready, unknown, nobody }) => {
      const left = later(ready);
      const due = dues.of(roll);
      return {
        ...{ roll, left, unknown, nobody },
        due: due === null ? null : new Date(due).toISOString(),
        inTime: inTime(left, due, clock),
      };
    }),
  };
}
