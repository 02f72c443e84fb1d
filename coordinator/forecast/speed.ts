/**
 * How long a job takes, learned from finished ones of its kind: a fixed time and a time for each frame of every part, and how far single jobs and
 * whole nights lie from that. Pure.
 *
 * What it knows of chance is two numbers, both of the logarithm of a job's time: `scatter`, how jobs of one night differ from each other, and
 * `drift`, how far a whole night lies from all nights (a warm room, a slow share, somebody else's work). Jobs of the night itself
 * say what its drift is: with each of them less of it is left open.
 */
import { kindKey, type Kind } from './kind.ts';
import { type JobSample, wholeSeconds } from './sample.ts';

/** Below so many finished jobs of a kind nothing is said. */
export const FEWEST_JOBS = 5;

/** Seconds. */
export interface Line {
  readonly fixed: number;
  readonly frame: number;
}

export interface Speed {
  /** Finished jobs that it rests on. */
  readonly jobs: number;
  /** Of whole jobs. */
  readonly whole: Line;
  readonly parts: readonly (Line & Pick<JobSample['parts'][number], 'part' | 'profile'>)[];
  /** Between two jobs in one place of a worker. */
  readonly between: number;
  /** Of the logarithm: what this night is thought to be beside all, and how far that may be wrong. */
  readonly drift: { readonly mean: number; readonly deviation: number };
  /** Standard deviation of the logarithm. */
  readonly scatter: number;
}

/** What is asked for. */
export interface Wanted {
  readonly kind: Kind;
  readonly machine: string;
  /** Jobs of it show how this night is; null: it has not begun. */
  readonly run: string | null;
  /** Other jobs on the machine meanwhile. */
  readonly beside: number;
}

/** A place that found nothing to do longer than this was waiting for work, and not for the queue. */
const LONGEST_BETWEEN_SECONDS = 2;
/** What is thought before anything is known, and for how many jobs or nights it counts. */
const SCATTER = { deviation: 0.12, weight: 2 } as const;
const DRIFT = { deviation: 0.15, weight: 2 } as const;
/** How much wider a deviation is taken that is itself known from few: 0.8 over them is near what Student's distribution asks of its tenth and ninetieth. */
const OF_FEW = 0.8;

/** null: too few jobs of the kind are finished, on whatever machine. */
export function speedOf(samples: readonly JobSample[], wanted: Wanted): Speed | null {
  const key = kindKey(wanted.kind);
  const ofKind = samples.filter((one) => kindKey(one.kind) === key && wholeSeconds(one) > 0);
  const own = ofKind.filter(({ machine }) => machine === wanted.machine);
  const few = own.length < FEWEST_JOBS;
  const known = few ? ofKind : own;
  if (known.length < FEWEST_JOBS) return null;
  const alike = known.filter(({ beside }) => beside !== null && Math.abs(beside - wanted.beside) < 0.5);
  return learn(alike.length >= FEWEST_JOBS ? alike : known, wanted);
}

function learn(samples: readonly JobSample[], { machine, run }: Wanted): Speed {
  const names = new Map(
    samples.flatMap(({ parts }) =>
      parts.map(({ part, profile }) => [`${part} ${profile}`, { part, profile }]),
    ),
  );
  const weights = samples.map((sample) => 1 / wholeSeconds(sample) ** 2);
  const parts = [...names.values()].map(({ part, profile }) => ({
    part,
    profile,
    ...lineThrough(
      samples.map(({ frames, parts: all }, index) => ({
        frames,
        seconds: all.find((one) => one.part === part && one.profile === profile)?.seconds ?? 0,
        weight: weights[index] as number,
      })),
    ),
  }));
  const whole = parts.reduce(
    (sum, { fixed, frame }) => ({ fixed: sum.fixed + fixed, frame: sum.frame + frame }),
    { fixed: 0, frame: 0 },
  );
  const nights = new Map<string, number[]>();
  for (const sample of samples) {
    const night = JSON.stringify([sample.machine, sample.run]);
    const off = Math.log(wholeSeconds(sample) / (whole.fixed + whole.frame * sample.frames));
    nights.set(night, [...(nights.get(night) ?? []), off]);
  }
  const { centre, scatter, drift } = spreads([...nights.values()]);
  const tonight = run === null ? [] : (nights.get(JSON.stringify([machine, run])) ?? []);
  const [s2, d2] = [scatter ** 2, drift ** 2];
  // What is thought of the night before its jobs speak, and after: both normal, so that their precisions add up.
  const precision = 1 / d2 + tonight.length / s2;
  const mean = (centre / d2 + sumOf(tonight) / s2) / precision;
  // How much the night still rests on the others; where their middle lies is not known exactly either.
  const others = 1 / d2 / precision;
  const middle = d2 / nights.size + s2 / samples.length;
  // Nor is the line itself, and the fewer jobs it was laid through, the less.
  const line = s2 / samples.length;
  const few = others / (nights.size - 1 + DRIFT.weight) + (1 - others) / (samples.length - 1);
  return {
    jobs: samples.length,
    whole,
    parts,
    between: median(
      samples.flatMap(({ waited }) => (waited === null || waited > LONGEST_BETWEEN_SECONDS ? [] : [waited])),
    ),
    drift: {
      mean,
      deviation: Math.sqrt(1 / precision + middle * others ** 2 + line) * (1 + OF_FEW * few),
    },
    scatter,
  };
}

/** Of logarithms, by night. */
function spreads(nights: readonly (readonly number[])[]): {
  readonly centre: number;
  readonly scatter: number;
  readonly drift: number;
} {
  const means = nights.map((offs) => sumOf(offs) / offs.length);
  const centre = sumOf(means) / means.length;
  const jobs = nights.reduce((sum, offs) => sum + offs.length, 0);
  const within = nights.reduce(
    (sum, offs, index) => sum + sumOf(offs.map((off) => (off - (means[index] as number)) ** 2)),
    0,
  );
  const scatter2 =
    (within + SCATTER.weight * SCATTER.deviation ** 2) / (jobs - nights.length + SCATTER.weight);
  const between = sumOf(means.map((mean) => (mean - centre) ** 2));
  const drift2 = (between + DRIFT.weight * DRIFT.deviation ** 2) / (nights.length - 1 + DRIFT.weight);
  return { centre, scatter: Math.sqrt(scatter2), drift: Math.sqrt(drift2) };
}

interface Point {
  readonly frames: number;
  readonly seconds: number;
  readonly weight: number;
}

/** Clips that differ in length by less say nothing of what is fixed. */
const LEAST_DIFFERENCE = 1.3;

/** Weighted least squares; neither number is below zero. */
function lineThrough(points: readonly Point[]): Line {
  const sum = (of: (point: Point) => number): number =>
    points.reduce((all, point) => all + point.weight * of(point), 0);
  const weight = sum(() => 1);
  const frames = sum((point) => point.frames) / weight;
  const seconds = sum((point) => point.seconds) / weight;
  const proportional = { fixed: 0, frame: seconds / frames };
  const lengths = points.map((point) => point.frames);
  if (Math.max(...lengths) < LEAST_DIFFERENCE * Math.min(...lengths)) return proportional;
  const frame =
    sum((point) => (point.frames - frames) * (point.seconds - seconds)) /
    sum((point) => (point.frames - frames) ** 2);
  if (frame <= 0) return { fixed: seconds, frame: 0 };
  const fixed = seconds - frame * frames;
  return fixed < 0 ? proportional : { fixed, frame };
}

const sumOf = (numbers: readonly number[]): number => numbers.reduce((sum, one) => sum + one, 0);

/** 0 of none. */
function median(numbers: readonly number[]): number {
  const sorted = [...numbers].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  if (sorted.length === 0) return 0;
  return sorted.length % 2 === 1
    ? (sorted[middle] as number)
    : ((sorted[middle - 1] as number) + (sorted[middle] as number)) / 2;
}

/** Seconds that a job of so many frames is thought to take: the median. */
export const likelySeconds = ({ whole, drift }: Speed, frames: number): number =>
  (whole.fixed + whole.frame * frames) * Math.exp(drift.mean);
