/**
 * The standing coordinator: for each show it waits for the delivery, looks, and begins nights, until it is asked to end. A night is the
 * very run that the command line starts. What fails is told, and tried again; it ends nothing.
 */
import { setTimeout as wait } from 'node:timers/promises';
import type { Logger } from 'pino';
import { FindingError } from '../../findings/finding.ts';
import { watchLeases } from '../../ledger/lease-file.ts';
import { startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { holderText } from '../store/lock.ts';
import type { NightRequest, Interrupts } from '../night/request.ts';
import type { NightsConfig, Show } from './config.ts';
import { holdShow } from './hold-show.ts';
import type { News } from './news.ts';
import { type NextNight, compareDays } from './next.ts';
import { type FarmOptions, ShowAtWork } from './show-at-work.ts';

export const roles = ['beginning', 'standing-by', 'at-work', 'no-delivery'] as const;
export type Role = (typeof roles)[number];

/** How a show stands, for whoever asks. */
export interface ShowStanding {
  readonly show: string;
  role: Role;
  /** Null: this coordinator does not have the delivery. */
  atWork: ShowAtWork | null;
  /** performance.now() of the last look that came to its end; null: none yet. */
  lookedAt: number | null;
}

export interface StandRequest {
  readonly config: NightsConfig;
  readonly farm: FarmOptions;
  readonly coordinator: string;
  readonly interrupts: Interrupts;
  readonly news: News;
  readonly logger: Logger;
  readonly also: Partial<NightRequest>;
  /** One for each show, in their order: written here, read by others. */
  readonly standings: readonly ShowStanding[];
}

export const newStandings = ({ shows }: NightsConfig): ShowStanding[] =>
  shows.map(({ name }) => ({ show: name, role: 'beginning', atWork: null, lookedAt: null }));

/** Looking takes a fiftieth of the time at most. */
const LOOKING_SHARE = 50;

/** Resolves when everything has ended in order. */
export async function standWatch(request: StandRequest): Promise<void> {
  const { config, standings, farm } = request;
  const keeper = startLeaseKeeper();
  // On the built-in Redis all nights share this machine alone: one at a time.
  const turns = newTurns(farm.queue === undefined);
  try {
    await Promise.all(
      config.shows.map((show, index) =>
        ofShow({ ...request, show, keeper, turns, standing: standings[index] as ShowStanding }),
      ),
    );
  } finally {
    await keeper.close();
  }
}

interface OfShow extends StandRequest {
  readonly show: Show;
  readonly standing: ShowStanding;
  readonly keeper: ReturnType<typeof startLeaseKeeper>;
  readonly turns: Turns;
}

async function ofShow(request: OfShow): Promise<void> {
  const { show, standing, keeper, interrupts, config, coordinator } = request;
  const logger = request.logger.child({ show: show.name });
  const signal = interrupts.first;
  const leases = watchLeases();
  while (!signal.aborted) {
    try {
      const lost = new AbortController();
      const lease = await holdShow({
        ...{ delivery: show.deliver, coordinator, leases, keeper, signal },
        onWait: (others) => {
          standing.role = 'standing-by';
          const lives = 'lease' in others ? holderText(others.lease) : '';
          logger.info({ state: others.state, lives }, 'another coordinator has the delivery');
        },
        lost: (why) => {
          logger.warn({ why }, 'another coordinator took the delivery over');
          lost.abort();
        },
      });
      logger.info({ delivery: show.deliver }, 'the delivery is this coordinator’s');
      try {
        await atWork(request, leases, lost.signal);
      } finally {
        standing.atWork = null;
        standing.role = 'beginning';
        await lease.release();
      }
    } catch (error) {
      if (signal.aborted) return;
      standing.role = 'no-delivery';
      logger.warn({ why: error instanceof FindingError ? error.findings : String(error) }, 'no delivery');
      await wait(config.lookMilliseconds, undefined, { signal }).catch(() => undefined);
    }
  }
}

/** Until the delivery is lost, or the coordinator is asked to end. */
async function atWork(
  request: OfShow,
  leases: ReturnType<typeof watchLeases>,
  lost: AbortSignal,
): Promise<void> {
  const { show, standing, interrupts, config, turns } = request;
  const logger = request.logger.child({ show: show.name });
  const signal = AbortSignal.any([interrupts.first, lost]);
  const work = await ShowAtWork.begin({ ...request, leases });
  standing.atWork = work;
  standing.role = 'at-work';
  let night: Promise<void> | null = null;
  try {
    while (!signal.aborted) {
      const began = performance.now();
      try {
        await work.look();
        standing.lookedAt = performance.now();
      } catch (error) {
        if (signal.aborted) break;
        // A drive that went away in the middle: it is looked at again.
        logger.warn({ err: error }, 'a look broke off');
      }
      const next = work.next();
      turns.ask(show.name, next === null ? null : work.rankOf(next));
      if (next !== null && night === null && turns.mayBegin(show.name)) {
        const running: NextNight = next;
        night = work.night(running).finally(() => {
          night = null;
          turns.end(show.name);
        });
      }
      const took = performance.now() - began;
      const rest = Math.max(config.lookMilliseconds, LOOKING_SHARE * took);
      // What ends may make room for what waits.
      await Promise.race([
        wait(rest, undefined, { signal }).catch(() => undefined),
        ...(night === null ? [] : [night]),
      ]);
    }
  } finally {
    turns.ask(show.name, null);
    await night;
  }
}

/** Whose night begins, where nights wait for each other. */
interface Turns {
  /** null: there is none to begin. */
  ask(show: string, rank: Rank | null): void;
  /** True: it is this show's turn, which is taken. */
  mayBegin(show: string): boolean;
  end(show: string): void;
}

type Rank = ReturnType<ShowAtWork['rankOf']>;

function newTurns(oneAtATime: boolean): Turns {
  const asked = new Map<string, Rank>();
  let running: string | null = null;
  return {
    ask(show, rank) {
      if (rank === null) asked.delete(show);
      else asked.set(show, rank);
    },
    mayBegin(show) {
      if (!oneAtATime) return true;
      if (running !== null) return false;
      const [first] = [...asked].sort(([, a], [, b]) => compareDays(a, b));
      if (first?.[0] !== show) return false;
      running = show;
      asked.delete(show);
      return true;
    },
    end(show) {
      if (running === show) running = null;
    },
  };
}

/** So many looks may be left out before a coordinator that is at work is none. */
const LOOKS_LEFT_OUT = 30;

/** Whether this coordinator does its duty by the show: it is at work and looks, or stands by for one that is. */
export function isDoing({ role, lookedAt }: ShowStanding, { lookMilliseconds }: NightsConfig): boolean {
  if (role !== 'at-work') return role === 'standing-by';
  return (
    lookedAt !== null && performance.now() - lookedAt < LOOKS_LEFT_OUT * Math.max(lookMilliseconds, 10_000)
  );
}
