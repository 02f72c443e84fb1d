/**
 * Which plain averages (plain.ts) no coding explains. A region's average may move by so much, and so much for what the frame lost; all else is counted in that:
 * sums over many regions move by a small part of it. Measured: docs/mechanisms/picture-error.md. Pure.
 */
import type { PlaneStatistics } from './statistics.ts';
import type { PictureErrorFault } from './fault.ts';
import type { PlainParts, PlainStatistics, SlopeName } from './plain.ts';

/** How far coding moves averages. */
export interface PlainLimits {
  /** The average of a region in a frame, code values of 8 bits: always, and for each of the root of the mean squared error. Larger regions do not move less where a codec cuts their average itself. */
  readonly least: number;
  readonly ofLoss: number;
  /** And for each code value by which its mean flickers: a frame that is predicted keeps something of the one before. */
  readonly ofFlicker: number;
  /** The average of a region whatever the frame lost: a step of the averages of its blocks, for a quantiser's scale of 1. 0: `least` and `ofLoss` hold alone. */
  readonly ofScale: number;
  readonly one: Shares;
  readonly all: Shares;
}

/** Of that. */
export interface Shares {
  readonly region: number;
  readonly line: number;
  readonly gain: number;
  readonly mix: number;
  readonly moved: number;
  readonly offset: number;
}

const parts: Readonly<
  Record<
    SlopeName,
    {
      readonly share: 'gain' | 'mix' | 'moved';
      readonly least: number;
      readonly words: (slope: number) => string;
      readonly expected: string;
    }
  >
> = {
  gain: {
    share: 'gain',
    least: 0.015,
    words: (slope) => `contrast times ${(1 + slope).toFixed(3)}`,
    expected: 'times 1',
  },
  before: {
    share: 'mix',
    least: 0.08,
    words: (slope) => `${(100 * slope).toFixed(0)} % of the frame before`,
    expected: 'the frame alone',
  },
  behind: {
    share: 'mix',
    least: 0.08,
    words: (slope) => `${(100 * slope).toFixed(0)} % of the frame behind`,
    expected: 'the frame alone',
  },
  across: {
    share: 'moved',
    least: 0.2,
    words: (slope) => `moved across by ${slope.toFixed(2)} samples`,
    expected: 'in its place',
  },
  down: {
    share: 'moved',
    least: 0.2,
    words: (slope) => `moved down by ${slope.toFixed(2)} samples`,
    expected: 'in its place',
  },
};

/** What the shares were measured with: regions of a plane, and of a line of them. Of fewer, sums scatter more. */
const REGIONS = 440;
const LINE = 22;
/** Every block of a flat picture is rounded alike: half a step of its average, which no number of regions makes less. */
const LEAST_OFFSET = 0.75;
/** The same of a line of them: the first row of a log scene, soft and nearly grey, was off by 0.38 in Cb of VC-3 LB. */
const LEAST_LINE = 0.5;
/** Of a plane that is moved in one frame. What explains less of the averages, root of the mean square in code values, is what a codec makes of next to nothing: the last frames of a fade. */
const LEAST_EXPLAINED = 0.5;
/**
 * Of contrast, and of a plane that is moved in all frames: VC-3 rounds every block of a flat or soft picture alike. A text over a flat picture seemed 1.7 % stronger, and
 * that explained 0.07; a flat colour with faint grain 5.3 %, in Cr 1.5 %, which explained 0.10 and 0.135; a soft ramp beside flat colours seemed to lie half a sample lower, and that explained 0.054.
 */
const LEAST_ROUNDING_EXPLAINED = { gain: 0.15, moved: 0.1 } as const;
/**
 * A flat picture has few levels, and a codec rounds all blocks of one level alike, up to half a step of their average: two levels then lie up to a step
 * nearer to each other or farther apart, which is another contrast, a part of another frame, or a move where there is none. Half a step and a little, times the most that two levels can make of it.
 * A frame that lost more than rounding has detail or grain, which rounds each block in another way. Asked of single frames: over all of them the limits are as measured.
 */
const LEVEL_ROUNDING = 0.6 * Math.SQRT2;
/** Fewer frames are as one. */
const MANY = 8;

interface Found {
  readonly name: SlopeName | 'offset' | 'region' | 'line';
  readonly kind: 'drift' | 'region';
  readonly words: string;
  readonly expected: string;
  /** Of what is allowed: above 1 it is a fault. */
  readonly times: number;
}

/** What coding may do to a frame. */
interface Allowed {
  /** How far an average of a region moves, and one whatever the frame lost. */
  readonly unit: number;
  readonly step: number;
  /** How far blocks of one level may be off alike. */
  readonly alike: number;
}

/** All that averages can say, each with how much of what is allowed it is. */
function foundIn(
  { plane: { columns, rows } }: PlainStatistics,
  own: PlainParts,
  { unit, step, alike }: Allowed,
  shares: Shares,
): Found[] {
  const scatter = Math.max(1, Math.sqrt(REGIONS / (columns * rows)));
  const lineScatter = (size: number): number => Math.max(1, Math.sqrt(LINE / size));
  const percent = (at: number, of: number): string => `${Math.round((100 * (at + 0.5)) / of)} %`;
  const off = (value: number): string => `off by ${value.toFixed(2)} code values of 8 bits`;
  const local = (name: 'region' | 'line', words: string, value: number, limit: number): Found => ({
    name,
    kind: 'region',
    words: `${words} ${off(value)} on average`,
    expected: `within ${limit.toFixed(2)}`,
    times: Math.abs(value) / limit,
  });
  const offset = Math.max(LEAST_OFFSET, unit * shares.offset);
  const slopes = (Object.keys(parts) as SlopeName[]).map((name): Found => {
    const { share, least, words, expected } = parts[name];
    const { slope, explains, rounded } = own.parts[name];
    const limit = Math.max(unit * shares[share] * scatter, alike * rounded);
    return {
      name,
      kind: 'drift',
      words: words(slope),
      expected,
      // There is no less than nothing of another frame in a picture.
      times: (share === 'mix' ? slope : Math.abs(slope)) < least ? 0 : explains / limit,
    };
  });
  return [
    ...slopes,
    {
      name: 'offset',
      kind: 'drift',
      words: off(own.offset),
      expected: `within ${offset.toFixed(2)}`,
      times: Math.abs(own.offset) / offset,
    },
    local(
      'region',
      `the region ${percent(own.region.region % columns, columns)} from the left and ${percent(Math.floor(own.region.region / columns), rows)} from the top`,
      own.region.off,
      Math.max(step, unit * shares.region),
    ),
    local(
      'line',
      `the column of regions ${percent(own.column.region, columns)} from the left`,
      own.column.off,
      Math.max(LEAST_LINE, unit * shares.line * lineScatter(rows)),
    ),
    local(
      'line',
      `the row of regions ${percent(own.row.region, rows)} from the top`,
      own.row.off,
      Math.max(LEAST_LINE, unit * shares.line * lineScatter(columns)),
    ),
  ];
}

/** Whether a slope says anything: contrast, and a plane that seems moved, only from so much on. */
const isTelling =
  ({ parts: own }: PlainParts, frames: 'one' | 'all') =>
  ({ name }: Found): boolean => {
    switch (name) {
      case 'gain':
        return own.gain.explains >= LEAST_ROUNDING_EXPLAINED.gain;
      case 'across':
      case 'down':
        return own[name].explains >= (frames === 'all' ? LEAST_ROUNDING_EXPLAINED.moved : LEAST_EXPLAINED);
      default:
        return true;
    }
  };

const worstOf = (found: readonly Found[]): Found | null =>
  found.reduce<Found | null>(
    (worst, one) => (one.times > 1 && one.times > (worst?.times ?? 0) ? one : worst),
    null,
  );

/** What coding did to each frame. */
export interface CodedFrames {
  /** Root of the mean squared error. */
  readonly loss: Float64Array;
  /** Squares of the greatest scale of the quantiser; null: not read. */
  readonly greatest: readonly number[] | null;
}

/** At most one fault of all frames and one of single ones: the clearest. */
export function plainFaults(
  plane: string,
  statistics: PlainStatistics,
  { loss, greatest }: CodedFrames,
  limits: PlainLimits,
): PictureErrorFault[] {
  const allowed = (frame: number): Allowed => ({
    unit:
      limits.least +
      limits.ofLoss * (loss[frame] as number) +
      limits.ofFlicker * (statistics.flicker[frame] as number),
    step: limits.ofScale * Math.sqrt(greatest?.[frame] ?? 0),
    alike: LEVEL_ROUNDING / Math.max(1, loss[frame] as number) ** 2,
  });
  const frames = statistics.frames.length;
  const each = Array.from({ length: frames }, (_, frame) => allowed(frame));
  const meanOf = (of: keyof Allowed): number => each.reduce((sum, one) => sum + one[of], 0) / frames;
  const mean: Allowed = { unit: meanOf('unit'), step: meanOf('step'), alike: 0 };
  const all = worstOf(
    foundIn(statistics, statistics.all, mean, frames < MANY ? limits.one : limits.all).filter(
      isTelling(statistics.all, 'all'),
    ),
  );
  if (all !== null)
    return [{ kind: all.kind, found: `${plane} in all frames: ${all.words}`, expected: all.expected }];
  const single = statistics.frames
    .map((own, frame) => ({
      frame,
      found: worstOf(foundIn(statistics, own, allowed(frame), limits.one).filter(isTelling(own, 'one'))),
    }))
    .filter(({ found }) => found !== null);
  const worst = single.reduce<(typeof single)[number] | null>(
    (known, one) => ((one.found?.times ?? 0) > (known?.found?.times ?? 0) ? one : known),
    null,
  );
  if (worst === null || worst.found === null) return [];
  const besides = single.length > 1 ? `, and ${single.length - 1} frames besides` : '';
  return [
    {
      kind: worst.found.kind,
      found: `${plane} of frame ${worst.frame}: ${worst.found.words}${besides}`,
      expected: worst.found.expected,
    },
  ];
}

/** As many frames either way are looked at for what is usual. */
const AROUND = 8;

/** Root of what each frame lost: by itself, or twice the worst of the frames around where that is less, so that a spoiled frame does not excuse itself. */
export function lossOf({ errors }: PlaneStatistics): Float64Array {
  return Float64Array.from(errors, (error, at) => {
    let around = errors.length === 1 ? error : 0;
    for (let other = Math.max(0, at - AROUND); other <= at + AROUND && other < errors.length; other += 1)
      if (other !== at) around = Math.max(around, errors[other] as number);
    return Math.sqrt(Math.min(error, 2 * around));
  });
}
