/**
 * What a bench gives back. A bench is an exported function `benchSomething` in a file of this folder that gives one
 * line or several; `npm run bench` finds it by its name.
 */
export interface BenchLine {
  readonly name: string;
  /** With its unit: `0.93 of xxh64sum`, `8.2 s`. */
  readonly measured: string;
  /** `at least 0.8`, `under 10 s`. */
  readonly target: string;
  /** null: a figure that is reported and has no target. */
  readonly passed: boolean | null;
}

export type Bench = () => Promise<BenchLine | readonly BenchLine[]>;
