/**
 * What the plain averages of regions say. Coding keeps them far better than samples: errors of a block cancel out in its average. So what moves them is
 * something else: a gain, an offset, a part of a neighbouring frame, a plane that was moved (by least squares over all regions), or, in a region or a
 * line of regions alone, a block, a column, an edge. All in code values of 8 bits. Pure.
 */
import { plainPlanes, sketchNumbers, type SketchForm, type SketchPlane } from './form.ts';

export const slopeNames = ['gain', 'before', 'behind', 'across', 'down'] as const;
export type SlopeName = (typeof slopeNames)[number];

/** Of a least squares fit: how much of it there is, and the root mean square of what it explains. */
export interface Part {
  readonly slope: number;
  readonly explains: number;
  /** What it would explain by chance if all regions of one level were rounded alike, for a rounding of 1: next to nothing in a picture of many levels, 0.7 in one of two. */
  readonly rounded: number;
}

export interface Place {
  readonly region: number;
  /** How far off, from what the regions beside it are. */
  readonly off: number;
}

/** Of one frame, or of all together. */
export interface PlainParts {
  /** `gain`: of the contrast; `before`, `behind`: of the frame there, beside contrast; `across`, `down`: samples that the plane is moved by. */
  readonly parts: Readonly<Record<SlopeName, Part>>;
  readonly offset: number;
  /** The farthest region, column and row of regions. */
  readonly region: Place;
  readonly column: Place;
  readonly row: Place;
}

export interface PlainStatistics {
  readonly plane: SketchPlane;
  readonly frames: readonly PlainParts[];
  /** Regions by the root of the mean of their squares. */
  readonly all: PlainParts;
  /** Of what the encoder was given: by how much the mean of each frame lies from that of the nearer of its neighbours. */
  readonly flicker: Float64Array;
}

/** Of a picture whose averages are all alike: rounding, and no slope. */
const LEAST_SQUARE = 1e-6;
/** What is left of the squares of a neighbouring frame beside contrast, at the least: in a fade it is the same picture at another contrast. */
const LEAST_LEFT = 0.02;

/** Levels that averages are told apart by, a code value of 8 bits each. */
const LEVELS = 256;

/** A least squares fit of what is found on what is given, beside what is in the picture itself. */
class Fit {
  count = 0;
  #given = 0;
  #found = 0;
  #beside = 0;
  #squares = 0;
  #products = 0;
  #besideSquares = 0;
  #besideGiven = 0;
  #besideFound = 0;
  readonly #levels = {
    count: new Float64Array(LEVELS),
    given: new Float64Array(LEVELS),
    beside: new Float64Array(LEVELS),
  };
  /** `level`: of the region; `beside`: what explains first; the slope is of what it leaves. */
  add(level: number, given: number, found: number, beside = 0): void {
    this.count += 1;
    this.#given += given;
    this.#found += found;
    this.#beside += beside;
    this.#squares += given * given;
    this.#products += given * found;
    this.#besideSquares += beside * beside;
    this.#besideGiven += beside * given;
    this.#besideFound += beside * found;
    const at = Math.min(LEVELS - 1, Math.floor(level));
    const { count, given: ofLevel, beside: besideOfLevel } = this.#levels;
    count[at] = (count[at] as number) + 1;
    ofLevel[at] = (ofLevel[at] as number) + given;
    besideOfLevel[at] = (besideOfLevel[at] as number) + beside;
  }
  /** About their means: what all regions have alike is no slope. */
  sums(): Sums {
    const { count } = this;
    const levels = new Float64Array(LEVELS);
    if (count === 0) return { count, squares: 0, products: 0, levels };
    const about = (sum: number, one: number, other: number): number => sum - (one * other) / count;
    const squares = Math.max(0, about(this.#squares, this.#given, this.#given));
    const products = about(this.#products, this.#given, this.#found);
    const beside = about(this.#besideSquares, this.#beside, this.#beside);
    const withGiven = about(this.#besideGiven, this.#beside, this.#given);
    const isAlone = beside <= LEAST_SQUARE * count;
    const part = isAlone ? 0 : withGiven / beside;
    const left = squares - part * withGiven;
    if (!isAlone && left < LEAST_LEFT * squares) return { count, squares: 0, products: 0, levels };
    for (let at = 0; at < LEVELS; at += 1) {
      const own = this.#levels.count[at] as number;
      levels[at] =
        (this.#levels.given[at] as number) -
        (own * this.#given) / count -
        part * ((this.#levels.beside[at] as number) - (own * this.#beside) / count);
    }
    return {
      count,
      squares: left,
      products: products - part * about(this.#besideFound, this.#beside, this.#found),
      levels,
    };
  }
}

interface Sums {
  readonly count: number;
  readonly squares: number;
  readonly products: number;
  /** What is given, summed up over the regions of a level. */
  readonly levels: Float64Array;
}

function partOf(all: readonly Sums[]): Part {
  const sum = (of: 'count' | 'squares' | 'products'): number =>
    all.reduce((total, one) => total + one[of], 0);
  const [count, squares, products] = [sum('count'), sum('squares'), sum('products')];
  if (count === 0 || squares / count < LEAST_SQUARE) return { slope: 0, explains: 0, rounded: 0 };
  let rounded = 0;
  for (let at = 0; at < LEVELS; at += 1)
    rounded += all.reduce((total, { levels }) => total + (levels[at] as number), 0) ** 2;
  return {
    slope: products / squares,
    explains: Math.abs(products) / Math.sqrt(squares * count),
    rounded: Math.sqrt(rounded / (squares * count)),
  };
}

/** Of each frame, the least step to a frame beside it. */
function flickerOf(means: Float64Array): Float64Array {
  return means.map((mean, frame) => {
    const steps = [means[frame - 1], means[frame + 1]].flatMap((other) =>
      other === undefined ? [] : [Math.abs(other - mean)],
    );
    return steps.length === 0 ? 0 : Math.min(...steps);
  });
}

/** Losses that an average lies from the ends of the range at the least. */
const CUT = 2.5;

const NOWHERE: Place = { region: 0, off: 0 };
const farther = (known: Place, region: number, off: number): Place =>
  Math.abs(off) > Math.abs(known.off) ? { region, off } : known;

/** Averages of lines of regions, each against the lines beside it. */
function lines(
  values: ArrayLike<number>,
  count: number,
  size: number,
  at: (line: number, index: number) => number,
): Place {
  const means = Array.from({ length: count }, (_, line) => {
    let sum = 0;
    for (let index = 0; index < size; index += 1) sum += values[at(line, index)] as number;
    return sum / size;
  });
  return means.reduce((known, mean, line) => {
    const beside = [means[line - 1], means[line + 1]].filter((one) => one !== undefined);
    return beside.length === 0
      ? known
      : farther(known, line, mean - beside.reduce((sum, one) => sum + one, 0) / beside.length);
  }, NOWHERE);
}

export interface PlainRequest {
  readonly form: SketchForm;
  /** Root of a frame's mean squared error, by plane. */
  readonly lossOf: (frame: number, plane: number) => number;
  /** Highest code value. */
  readonly peak: number;
  /** `sketchNumbers` a frame. */
  readonly input: Uint16Array;
  readonly output: Uint16Array;
}

export function plainStatistics({ form, lossOf, peak, input, output }: PlainRequest): PlainStatistics[] {
  const numbers = sketchNumbers(form);
  const frames = input.length / numbers;
  return plainPlanes(form).map((plane, number) => {
    const { columns, rows, from } = plane;
    const regions = columns * rows;
    const side = Math.sqrt(plane.samples);
    const all: Record<SlopeName, Sums[]> = { gain: [], before: [], behind: [], across: [], down: [] };
    const squares = new Float64Array(regions);
    const sums = new Float64Array(regions);
    const found: PlainParts[] = [];
    const levels = new Float64Array(frames);
    const differences = new Float64Array(regions);
    for (let frame = 0; frame < frames; frame += 1) {
      const fits: Record<SlopeName, Fit> = {
        gain: new Fit(),
        before: new Fit(),
        behind: new Fit(),
        across: new Fit(),
        down: new Fit(),
      };
      const near = CUT * lossOf(frame, number);
      let sum = 0;
      let count = 0;
      let level = 0;
      let farthest = 0;
      let farthestAt = 0;
      const first = frame * numbers + from;
      const [hasBefore, hasBehind] = [frame > 0, frame < frames - 1];
      const { gain, before, behind, across, down } = fits;
      for (let at = 0; at < regions; at += 1) {
        const place = first + at;
        const own = (input[place] as number) / 256;
        level += own / regions;
        // Errors that would go beyond the range are cut off, and the average moves: nothing is said of a region that lies there.
        const cut = own < near || own > peak - near;
        const off = cut ? 0 : (output[place] as number) / 256 - own;
        differences[at] = off;
        if (cut) continue;
        count += 1;
        squares[at] = (squares[at] as number) + off * off;
        sums[at] = (sums[at] as number) + off;
        sum += off;
        if (Math.abs(off) > Math.abs(farthest)) {
          farthest = off;
          farthestAt = at;
        }
        gain.add(own, own, off);
        if (hasBefore) before.add(own, (input[place - numbers] as number) / 256 - own, off, own);
        if (hasBehind) behind.add(own, (input[place + numbers] as number) / 256 - own, off, own);
        const column = at % columns;
        if (column > 0 && column < columns - 1)
          across.add(
            own,
            ((input[place - 1] as number) - (input[place + 1] as number)) / 256 / (2 * side),
            off,
          );
        if (at >= columns && at < regions - columns)
          down.add(
            own,
            ((input[place - columns] as number) - (input[place + columns] as number)) / 256 / (2 * side),
            off,
          );
      }
      levels[frame] = level;
      const own = Object.fromEntries(
        slopeNames.map((name) => {
          const one = fits[name].sums();
          all[name].push(one);
          return [name, partOf([one])];
        }),
      ) as Record<SlopeName, Part>;
      found.push({
        parts: own,
        offset: count === 0 ? 0 : sum / count,
        region: { region: farthestAt, off: farthest },
        column: lines(differences, columns, rows, (line, index) => index * columns + line),
        row: lines(differences, rows, columns, (line, index) => line * columns + index),
      });
    }
    const means = sums.map((sum) => sum / frames);
    return {
      plane,
      frames: found,
      flicker: flickerOf(levels),
      all: {
        parts: Object.fromEntries(slopeNames.map((name) => [name, partOf(all[name])])) as Record<
          SlopeName,
          Part
        >,
        offset: found.reduce((sum, { offset }) => sum + offset, 0) / frames,
        region: squares.reduce(
          (known, square, at) => farther(known, at, Math.sqrt(square / frames)),
          NOWHERE,
        ),
        column: lines(means, columns, rows, (line, index) => index * columns + line),
        row: lines(means, rows, columns, (line, index) => line * columns + index),
      },
    };
  });
}
