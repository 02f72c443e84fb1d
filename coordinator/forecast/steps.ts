/** Long reckoning in steps, between which a process hears others. What comes out does not depend on how it is cut. */

/** Each step tells what it took: about how many jobs were simulated. */
export type Steps<Result> = Generator<number, Result, void>;

/** In one go. */
export function whole<Result>(steps: Steps<Result>): Result {
  for (;;) {
    const step = steps.next();
    if (step.done === true) return step.value;
  }
}

/** Some ten milliseconds. */
const JOBS_A_SLICE = 5_000;

/** Goes on for a slice; null: it is not over yet. */
export function goOn<Result extends object>(steps: Steps<Result>): Result | null {
  for (let took = 0; took < JOBS_A_SLICE; ) {
    const step = steps.next();
    if (step.done === true) return step.value;
    took += step.value;
  }
  return null;
}

/** To look at a job is far less than to simulate it. */
const LOOKS_A_JOB = 10;
const LOOKS_A_STEP = 5_000;

/** Visits all of the list. */
export function* inParts<Item>(list: readonly Item[], visit: (item: Item) => void): Steps<void> {
  for (let index = 0; index < list.length; index += 1) {
    visit(list[index] as Item);
    if (index % LOOKS_A_STEP === LOOKS_A_STEP - 1) yield LOOKS_A_STEP / LOOKS_A_JOB;
  }
}
