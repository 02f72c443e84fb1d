/** Latches: each roll's opens when it was surveyed, or was left before that. */
export interface Surveys {
  /** Of one roll, once. */
  end(roll: string): void;
  /** Of a roll of the night; of another one nothing is waited for. */
  of(roll: string): Promise<void>;
  /** Of all rolls. */
  readonly ended: Promise<void>;
}

export function surveysOf(rolls: readonly string[]): Surveys {
  const latches = new Map(rolls.map((roll) => [roll, latch()]));
  return {
    end: (roll) => latches.get(roll)?.open(),
    of: (roll) => latches.get(roll)?.opened ?? Promise.resolve(),
    ended: Promise.all([...latches.values()].map(({ opened }) => opened)).then(() => undefined),
  };
}

function latch(): { open(): void; readonly opened: Promise<void> } {
  let open: () => void = () => undefined;
  const opened = new Promise<void>((resolve) => {
    open = resolve;
  });
  return { open: () => open(), opened };
}
