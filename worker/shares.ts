/** Whose jobs a worker takes next, where runs share a farm, and what it writes down of it (ledger/shares.ts). */
import type { Redis } from 'ioredis';
import { KEY_SECONDS } from '../ledger/queue.ts';
import { readTag, SHARES_KEY, tagOf, type Tags, turnsOf } from '../ledger/shares.ts';

/** A queue that is taken from. `run`: whose it is; null: there is but one. */
export interface Take {
  readonly queue: string;
  readonly run: string | null;
  readonly weight: number;
}

export interface Charge {
  /** After so many seconds it has ended, or was given back. */
  settle(seconds: number): void;
}

export interface Shares {
  /** In the order in which they are asked. */
  inTurn(takes: readonly Take[]): Promise<readonly Take[]>;
  /** A job of this queue was taken. Never rejects: a share that is not written down costs no job. */
  charge(take: Take, takes: readonly Take[]): Promise<Charge>;
}

/** Of a run of which this process made nothing yet. */
const FIRST_SECONDS = 10;
/** Of what a job of a run is thought to take, what the last one counts. */
const NEWS = 0.25;

const READ = `
local text = redis.call('HGET', KEYS[1], ARGV[1])
local done, inHand = string.match(text or '', '^(%S+) (%S+)$')
done, inHand = tonumber(done), tonumber(inHand)`;
const WRITE = `redis.call('HSET', KEYS[1], ARGV[1], string.format('%.6f %.6f', done, inHand))`;

/** ARGV: run, where it goes on at least, what is added, seconds until the key runs out. */
const CHARGE = `${READ}
if not done or not inHand then done, inHand = tonumber(ARGV[2]), 0 end
done = done + math.max(0, tonumber(ARGV[2]) - done - inHand)
inHand = inHand + tonumber(ARGV[3])
${WRITE}
redis.call('EXPIRE', KEYS[1], ARGV[4])`;
/** ARGV: run, what was added, what it took. One that is over is not written down again. */
const SETTLE = `${READ}
if not done or not inHand then return end
inHand = math.max(0, inHand - tonumber(ARGV[2]))
done = done + tonumber(ARGV[3])
${WRITE}`;

export function sharesOf(
  redis: Redis,
  log: (message: string, fields: Record<string, unknown>) => void,
): Shares {
  const thought = new Map<string, number>();
  const failed = (error: unknown): void => log('a share was not written down', { error: String(error) });
  const tagsNow = async (): Promise<Tags> => {
    const texts = Object.entries(await redis.hgetall(SHARES_KEY));
    return new Map(
      texts.flatMap(([run, text]) => {
        const tag = readTag(text);
        return tag === null ? [] : [[run, tag] as const];
      }),
    );
  };
  return {
    async inTurn(takes) {
      const runs = runsOf(takes);
      if (runs.length < 2) return takes;
      return turnsOf(runs, await tagsNow()).flatMap((run) => takes.filter((take) => take.run === run));
    },
    async charge({ run, weight }, takes) {
      if (run === null) return { settle: () => undefined };
      const charged = thought.get(run) ?? FIRST_SECONDS;
      try {
        const from = tagOf(run, runsOf(takes), await tagsNow());
        await redis.eval(CHARGE, 1, SHARES_KEY, run, from, charged / weight, KEY_SECONDS);
      } catch (error) {
        failed(error);
        return { settle: () => undefined };
      }
      return {
        settle(seconds) {
          const before = thought.get(run) ?? seconds;
          thought.set(run, before + NEWS * (seconds - before));
          redis.eval(SETTLE, 1, SHARES_KEY, run, charged / weight, seconds / weight).catch(failed);
        },
      };
    },
  };
}

const runsOf = (takes: readonly Take[]): string[] => [
  ...new Set(takes.flatMap(({ run }) => (run === null ? [] : [run]))),
];
