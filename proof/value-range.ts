/** What the values of pictures range over, and what the form of a master had no room for. */
type Triple = readonly [number, number, number];

/** Of a frame or a clip, linear AP0 before it is coded. */
export interface SceneLinearRange {
  /** R, G, B. */
  readonly least: Triple;
  readonly greatest: Triple;
  /** Pixels of which every channel is above 1.0, a perfect white diffuser. */
  readonly overWhite: number;
}

/** Values that were limited to the ends of a form's scale. */
export interface Limited {
  readonly below: number;
  readonly above: number;
  /** Of all values before that: in codes of the form, or linear AP0 where it holds floats. */
  readonly least: number;
  readonly greatest: number;
}

/** What the maker of a master saw of its frames, in their order. */
export interface ValuesSeen {
  readonly ranges: readonly SceneLinearRange[];
  readonly limited: readonly Limited[];
}

export function rangeOfAll(ranges: readonly SceneLinearRange[]): SceneLinearRange {
  const end = (of: 'least' | 'greatest', better: (a: number, b: number) => number, start: number): Triple => {
    const channel = (place: 0 | 1 | 2): number =>
      ranges.reduce((best, range) => better(best, range[of][place]), start);
    return [channel(0), channel(1), channel(2)];
  };
  return {
    least: end('least', Math.min, Number.POSITIVE_INFINITY),
    greatest: end('greatest', Math.max, Number.NEGATIVE_INFINITY),
    overWhite: ranges.reduce((sum, { overWhite }) => sum + overWhite, 0),
  };
}
