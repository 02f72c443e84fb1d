/** A mixed shoot day by chance, for simulations: rolls of cameras with other codecs and rasters, short takes and a few long ones. Pure. */
import type { OrderedJob } from '../dispatch/order.ts';
import type { Wave } from '../../ledger/job.ts';
import type { MastersTurn } from '../plan/waves.ts';
import type { Chance } from './chance.ts';

export interface DrawnJob extends OrderedJob {
  readonly name: string;
  readonly rollName: string;
  readonly frames: number;
  /** Of the camera whose clips need a decoder that not every machine has. */
  readonly needsDecoder: boolean;
  /** Where masters come after proxies; else undefined. */
  readonly wave?: Wave | undefined;
  /** What it takes, which the planner does not know. */
  readonly trueSeconds: number;
}

export interface ToDraw {
  readonly clips: number;
  /** How far jobs lie from what the planner thinks: standard deviation of the logarithm. */
  readonly scatter: number;
  /** Absent: all of a clip is one job. */
  readonly masters?: MastersTurn;
  readonly chance: Chance;
}

const CLIPS_A_ROLL = [8, 60] as const;
const RATE = 24;
/** Of a take: its median, how far takes lie around that (of the logarithm), and what no card holds more of. */
const TAKE_SECONDS = { median: 35, deviation: 0.9, most: 900 } as const;
/** How many takes are interviews, and how long those are. */
const INTERVIEWS = { share: 0.02, least: 300, most: 900 } as const;
/** Seconds of one slot for a frame, with checks: sizes of jobs as the planner's table has them, from HD to large raw. */
const CAMERAS = [0.02, 0.05, 0.11, 0.3] as const;
const STARTING_SECONDS = 1;
/** Of the seconds of a job, by the planner's table for 1080p and two proxies: what decoding takes, and what masters take. */
const PARTS = { decode: 0.08, masters: 0.6 } as const;

const between = (chance: Chance, [least, most]: readonly [number, number]): number =>
  least + Math.floor(chance.even() * (most - least + 1));

/** In the order of the day. */
export function drawDay({ clips, scatter, masters = 'with', chance }: ToDraw): DrawnJob[] {
  const jobs: DrawnJob[] = [];
  let drawn = 0;
  for (let roll = 0; drawn < clips; roll += 1) {
    const camera = Math.floor(chance.even() * CAMERAS.length);
    const rollName = `${String.fromCharCode(65 + camera)}${String(roll + 1).padStart(3, '0')}`;
    const count = Math.min(between(chance, CLIPS_A_ROLL), clips - drawn);
    drawn += count;
    for (let place = 0; place < count; place += 1) {
      const isInterview = chance.even() < INTERVIEWS.share;
      const length = isInterview
        ? INTERVIEWS.least + chance.even() * (INTERVIEWS.most - INTERVIEWS.least)
        : Math.min(
            TAKE_SECONDS.most,
            TAKE_SECONDS.median * Math.exp(TAKE_SECONDS.deviation * chance.normal()),
          );
      const frames = Math.max(1, Math.round(length * RATE));
      const seconds = STARTING_SECONDS + frames * (CAMERAS[camera] as number);
      const one = {
        ...{ rollName, place, frames },
        needsDecoder: camera === CAMERAS.length - 1,
        name: `${rollName}C${String(place + 1).padStart(3, '0')}`,
        roll: { first: null, due: null, place: roll },
      };
      const off = Math.exp(scatter * chance.normal());
      for (const { wave, seconds: own } of masters === 'with'
        ? [{ wave: undefined, seconds }]
        : inTwo(seconds))
        jobs.push({ ...one, wave, seconds: own, trueSeconds: own * off });
    }
  }
  return jobs;
}

/** Each of them starts, and decodes the clip. */
function inTwo(seconds: number): { readonly wave: Wave; readonly seconds: number }[] {
  const work = seconds - STARTING_SECONDS;
  const decode = work * PARTS.decode;
  const masters = work * PARTS.masters;
  return [
    { wave: 'proxies', seconds: STARTING_SECONDS + work - masters },
    { wave: 'masters', seconds: STARTING_SECONDS + decode + masters },
  ];
}
