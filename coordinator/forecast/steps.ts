/** Long reckoning in steps, between which a process hears others. What comes out does not depend on how it is cut. */

/** Each step is a few milliseconds at most. */
export type Steps<Result> = Generator<void, Result, void>;

/** In one go. */
export function whole<Result>(steps: Steps<Result>): Result {
  for (;;) {
    const step = steps.next();
    if (step.done === true) return step.value;
  }
}

/** Goes through the list, and pauses after so many of it. */
export function* inParts<Item>(list: readonly Item[], visit: (item: Item) => void): Steps<void> {
  for (let index = 0; index < list.length; index += 1) {
    visit(list[index] as Item);
    if (index % ITEMS_A_STEP === ITEMS_A_STEP - 1) yield;
  }
}
const ITEMS_A_STEP = 5_000;
