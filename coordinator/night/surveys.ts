/** A latch: opens when so many rolls were surveyed, or were left before that. */
export interface Surveys {
  /** Of one roll, once. */
  end(): void;
  readonly ended: Promise<void>;
}

export function surveysOf(rolls: number): Surveys {
  let left = rolls;
  let open: () => void = () => undefined;
  const ended = new Promise<void>((resolve) => {
    open = resolve;
  });
  if (left === 0) open();
  return {
    end: () => {
      left -= 1;
      if (left === 0) open();
    },
    ended,
  };
}
