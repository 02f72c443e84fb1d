/** What the table of a colour way differs from the way itself by, over colours as pictures have them: measured for the report, and judged by nobody. */
import { lookUp, type SpaceTable } from './look-up.ts';

type Triple = readonly [number, number, number];

export interface TableError {
  readonly colours: number;
  /** ΔE_ITP: 99.8 % of the colours differ by no more, and the farthest. */
  readonly most: number;
  readonly greatest: number;
}

const COLOURS = 2000;
const MOST = 2 ** 14 - 1;
/** Of full scale: the channels of a colour lie so far from its middle, most of them. */
const APART = 0.05;

/** The same numbers on every run: Numerical Recipes, third edition, 7.1 (`ranqd1`). */
function sequence(): () => number {
  let state = 12_345;
  return () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
}

/** `showing`: the way; `end`: R'G'B' that the greatest code means; `difference`: of two colours in code values of the display. */
export function tableError(
  table: SpaceTable,
  showing: (rgb: Triple) => Triple,
  end: number,
  difference: (one: Triple, other: Triple) => number,
): TableError {
  const uniform = sequence();
  const planes = [0, 1, 2].map(() => new Float64Array(COLOURS)) as [Float64Array, Float64Array, Float64Array];
  for (let at = 0; at < COLOURS; at += 1) {
    const middle = 0.2 + 0.5 * uniform();
    for (const plane of planes) {
      const away = APART * (uniform() + uniform() + uniform() + uniform() - 2);
      plane[at] = Math.round(MOST * (middle + away));
    }
  }
  const exact = Array.from({ length: COLOURS }, (_, at) =>
    showing([
      ((planes[0][at] as number) * end) / MOST,
      ((planes[1][at] as number) * end) / MOST,
      ((planes[2][at] as number) * end) / MOST,
    ]),
  );
  lookUp(table, planes, MOST);
  const held = (value: number): number => Math.min(Math.max(value, 0), 1);
  const off = exact
    .map(([r, g, b], at) =>
      difference(
        [held(r), held(g), held(b)],
        [
          (planes[0][at] as number) / MOST,
          (planes[1][at] as number) / MOST,
          (planes[2][at] as number) / MOST,
        ],
      ),
    )
    .sort((a, b) => a - b);
  return {
    colours: COLOURS,
    most: off[Math.ceil(0.998 * COLOURS) - 1] as number,
    greatest: off[COLOURS - 1] as number,
  };
}
