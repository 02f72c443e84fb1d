/** One show: looked at again and again, its nights begun one after another, while this coordinator has its delivery. */
import type { Logger } from 'pino';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { LeaseWatch } from '../../ledger/lease-file.ts';
import type { DayTo } from './due.ts';
import { dueOfShow } from './due.ts';
import { watchLateness } from '../messages/of-night.ts';
import { type NightOptions, nightAsked } from '../night/asked.ts';
import type { Interrupts, NightRequest, NightUi } from '../night/request.ts';
import { runNight } from '../night/run.ts';
import { askedOf, type NightsConfig, type Show } from './config.ts';
import { lookAtShow, type SeenDay } from './look.ts';
import type { News, OfDay } from './news.ts';
import { type DayToTake, isOver, type NextNight, nextNight, type RollToTake } from './next.ts';
import { ownInterrupts } from './own-interrupts.ts';
import { type RollSighting, settlingOf, sightRoll } from './settled.ts';
import { Taken, type TakenRoll } from './taken.ts';

/** What the command line says of every night. */
export type FarmOptions = Pick<
  NightOptions,
  'queue' | 'queueCa' | 'queueCert' | 'queueKey' | 'volumes' | 'ffmpeg' | 'ffprobe'
>;

export interface ShowRequest {
  readonly show: Show;
  readonly config: NightsConfig;
  readonly farm: FarmOptions;
  readonly leases: LeaseWatch;
  readonly interrupts: Interrupts;
  readonly news: News;
  readonly logger: Logger;
  /** What every night is given besides. */
  readonly also: Partial<NightRequest>;
}

/** How a roll stands that is not over. */
export interface WaitingRoll extends RollToTake {
  readonly day: string;
  readonly lacks: readonly Finding[];
}

const LEAST_AGAIN = 60_000;
const MOST_AGAIN = 30 * 60_000;
/** Of what an incomplete roll lacks, so many findings stand in the log line. */
const MOST_TOLD = 5;

export class ShowAtWork {
  readonly #request: ShowRequest;
  readonly #taken: Taken;
  readonly #sightings = new Map<string, RollSighting>();
  readonly #served = new Map<string, number>();
  readonly #again = new Map<string, { readonly notBefore: number; readonly wait: number }>();
  readonly #dues = new Map<string, number | null>();
  readonly #told = new Set<string>();
  #days: readonly DayToTake[] = [];
  #seen: readonly SeenDay[] = [];
  #atWork: NextNight | null = null;

  private constructor(request: ShowRequest, taken: Taken) {
    this.#request = request;
    this.#taken = taken;
  }

  static async begin(request: ShowRequest): Promise<ShowAtWork> {
    return new ShowAtWork(request, await Taken.read(request.show.deliver));
  }

  /** Rolls that were seen and are not over. */
  waiting(): WaitingRoll[] {
    return this.#days.flatMap(({ day, asked, rolls }) =>
      rolls
        .filter((one) => !isOver(one, asked))
        .map((one) => ({ ...one, day, lacks: this.#lacksOf(day, one.roll) })),
    );
  }

  get atWork(): NextNight | null {
    return this.#atWork;
  }

  #lacksOf(day: string, roll: string): readonly Finding[] {
    const found = this.#seen.find((one) => one.day === day)?.rolls.find((one) => one.roll === roll);
    return found?.look.lacks ?? [];
  }

  /** Throws the interrupt's reason. */
  async look(): Promise<void> {
    const { show, config, interrupts, logger } = this.#request;
    const { days, troubles } = await lookAtShow(show, interrupts.first);
    for (const trouble of troubles) this.#once(trouble, () => logger.warn({ show: show.name }, trouble));
    const asked = await askedOf(show);
    const due: DayTo = await dueOfShow(show, asked);
    const now = performance.now();
    this.#seen = days;
    this.#days = days.map(({ day, folder, rolls }) => {
      const toTake = rolls.map(({ roll, look }): RollToTake => {
        const key = JSON.stringify([day, roll]);
        const sighting = sightRoll(
          this.#sightings.get(key),
          { seen: look.seen, lacks: look.lacks.length },
          now,
        );
        this.#sightings.set(key, sighting);
        if (!this.#dues.has(key)) this.#dues.set(key, due(day, roll, Date.now()));
        const settling = settlingOf(sighting, config, now);
        if (settling === 'incomplete')
          this.#once(JSON.stringify([key, look.seen]), () => this.#tellIncomplete(day, roll, look.lacks));
        return { roll, seen: look.seen, settling, taken: this.#taken.of(day, roll) };
      });
      return {
        ...{ day, folder, take: show.take, asked, rolls: toTake },
        due: earliest(toTake.map(({ roll }) => this.#dues.get(JSON.stringify([day, roll])) ?? null)),
        weight: show.dayOf(day).weight,
        served: this.#served.get(day) ?? 0,
        notBefore: this.#again.get(day)?.notBefore ?? 0,
      };
    });
    this.#tellLate();
  }

  next(): NextNight | null {
    return this.#atWork === null ? nextNight(this.#days, performance.now()) : null;
  }

  /** Of its day, beside those of other shows. */
  rankOf({ day }: NextNight): DayToTake {
    const found = this.#days.find((one) => one.day === day);
    if (found === undefined) throw new RangeError(`no day ${day}`);
    return found;
  }

  /** Whoever waits for it reads why nothing happens, and when something does. */
  #tellIncomplete(day: string, roll: string, lacks: readonly Finding[]): void {
    const { show, config, logger } = this.#request;
    logger.warn(
      {
        ...{ show: show.name, day, roll },
        lacks: lacks.slice(0, MOST_TOLD).map(({ code, file, found }) => ({ code, file, found })),
        more: Math.max(0, lacks.length - MOST_TOLD),
        takenAfterMinutes: config.incompleteMilliseconds / 60_000,
      },
      'a roll waits: it is not complete',
    );
  }

  #once(key: string, tell: () => void): void {
    if (this.#told.has(key)) return;
    this.#told.add(key);
    tell();
  }

  #tellLate(): void {
    for (const { day, roll, settling, lacks } of this.waiting()) {
      const due = this.#dues.get(JSON.stringify([day, roll])) ?? null;
      if (due === null || Date.now() < due) continue;
      const why = this.#atWork?.rolls.some((one) => one.roll === roll)
        ? 'it is being made'
        : settling === 'settled'
          ? 'it waits for its turn'
          : (lacks[0]?.code ?? 'it was still changing');
      this.#tellLateOf(day, roll, `past ${new Date(due).toISOString()}: ${why}`);
    }
  }

  #tellLateOf(day: string, roll: string, why: string): void {
    this.#once(`late ${JSON.stringify([day, roll])}`, () =>
      this.#request.news.late(this.#of(day), roll, why),
    );
  }

  #of(day: string): OfDay {
    const { show } = this.#request;
    return { show: show.name, day, delivery: show.deliver };
  }

  /** The night to its end, whatever comes of it. */
  async night(next: NextNight): Promise<void> {
    const { logger, show, news } = this.#request;
    const of = this.#of(next.day);
    const log = logger.child({ show: show.name, day: printable(next.day) });
    const began = performance.now();
    this.#atWork = next;
    let whole = false;
    try {
      await this.#taken.keep(next.rolls.map((one) => takenOf(next, one, 'begun')));
      whole = await this.#run(next, of, log);
    } catch (error) {
      if (error instanceof FindingError) news.refused(of, error.findings);
      log.error({ err: error }, 'the night broke');
    } finally {
      const seconds = (performance.now() - began) / 1_000;
      this.#served.set(next.day, (this.#served.get(next.day) ?? 0) + seconds);
      this.#waitAfter(next.day, whole);
      this.#atWork = null;
    }
  }

  #waitAfter(day: string, whole: boolean): void {
    if (whole) this.#again.delete(day);
    else {
      const wait = Math.min(2 * (this.#again.get(day)?.wait ?? LEAST_AGAIN / 2), MOST_AGAIN);
      this.#again.set(day, { wait, notBefore: performance.now() + wait });
    }
  }

  /** True: every roll of it is over. */
  async #run(next: NextNight, of: OfDay, log: Logger): Promise<boolean> {
    const { show, config, farm, leases, interrupts, news, also } = this.#request;
    const { by, first, weight } = show.dayOf(next.day);
    const names = next.rolls.map(({ roll }) => roll);
    const copies = this.#seen.find(({ day }) => day === next.day)?.copies ?? [];
    const request = await nightAsked({
      ...farm,
      ...{ day: next.folder, deliver: show.deliver, copy: copies, manifests: show.manifests },
      ...{ profile: show.profiles, roll: names, first: first.filter((name) => names.includes(name)) },
      ...(by === null ? {} : { by: [by] }),
      // Beside the nights of other shows, and runs by hand.
      ...(farm.queue === undefined ? {} : { weight }),
      ...(show.settings === null ? {} : { settings: show.settings }),
      ...(show.stills === null ? {} : { stills: show.stills }),
      ...workersOf(config, farm),
      // Somebody may have started a run there by hand.
      waitForRun: true,
    });
    const over: TakenRoll[] = [];
    let lateness: { end(): void } | undefined;
    const ui: NightUi = {
      begin: (runProgress, forecast) => {
        news.began(of, runProgress, forecast);
        lateness = watchLateness(forecast, (roll, why) => this.#tellLateOf(next.day, roll, why));
      },
      say: (line) => log.info(line),
      report: (item) => {
        log.warn({ finding: item }, item.code);
        news.noted(of, item);
      },
      decided: (result, early) => {
        news.decided(of, result);
        const one = next.rolls.find(({ roll }) => roll === result.roll);
        // What was held because the run ended early is taken again.
        if (one !== undefined && (early === null || result.verdict === 'ready'))
          over.push({ ...takenOf(next, one, 'over'), verdict: result.verdict });
      },
    };
    const own = ownInterrupts(interrupts);
    try {
      news.ended(of, await runNight({ ...request, leases, ...also }, own, ui));
    } finally {
      own.end();
      lateness?.end();
      // Also of a night that broke: what is decided is decided.
      await this.#taken.keep(over);
    }
    return over.length === next.rolls.length;
  }
}

/** With a shared queue other machines do the work, unless the file says otherwise. */
function workersOf(
  { workers, slots }: NightsConfig,
  { queue }: FarmOptions,
): Pick<NightOptions, 'workers' | 'slots'> {
  const count = workers ?? (queue === undefined ? null : 0);
  return { ...(count === null ? {} : { workers: count }), ...(slots === null ? {} : { slots }) };
}

const takenOf = (next: NextNight, { roll, seen }: RollToTake, state: TakenRoll['state']): TakenRoll => ({
  ...{ day: next.day, roll, seen, asked: next.asked, state },
  verdict: null,
});

function earliest(dues: readonly (number | null)[]): number | null {
  const known = dues.filter((due) => due !== null);
  return known.length === 0 ? null : Math.min(...known);
}
