/** What befalls a farm in a night, drawn from a seed: each kind at least once, in an order, on a machine and for a time of its own. */
import { randomOf } from '../faults/random.ts';

/** Beyond the lock of a job and the death of a lease, both a minute. */
const PAST_THE_LOCK = { least: 65, most: 80 };
const MOMENT = { least: 2, most: 15 };

/** Seconds that it lasts; null: it is done at once. `machine`: it befalls one of them. */
const kinds = {
  'power-cut': { lasts: MOMENT, machine: true },
  'worker-killed': { lasts: null, machine: true },
  'encoder-killed': { lasts: null, machine: true },
  'coordinator-killed': { lasts: MOMENT, machine: false },
  'store-killed': { lasts: null, machine: false },
  'store-wiped': { lasts: null, machine: false },
  frozen: { lasts: PAST_THE_LOCK, machine: true },
  'frozen-shortly': { lasts: MOMENT, machine: true },
  'cut-off': { lasts: PAST_THE_LOCK, machine: true },
  'hour-forward': { lasts: PAST_THE_LOCK, machine: true },
  'hour-back': { lasts: PAST_THE_LOCK, machine: true },
  'target-full': { lasts: MOMENT, machine: false },
  'target-unmounted': { lasts: MOMENT, machine: true },
  'unfit-machine': { lasts: null, machine: false },
} as const;
export type ChaosKind = keyof typeof kinds;

export interface ChaosStep {
  readonly kind: ChaosKind;
  /** Which machine it befalls; null: none. */
  readonly machine: number | null;
  readonly lastsSeconds: number | null;
  /** It begins when so much of the night is published, 0 to 1: where a machine stands is nobody's promise, how far the night is can be seen. */
  readonly from: number;
}

/** The last jobs are left alone, so that what was disturbed is seen to its end. */
const LAST_BEGINS = 0.85;

export function drawChaos(seed: number, machines: number): ChaosStep[] {
  const random = randomOf(seed, 'chaos');
  const order = random.shuffled(Object.keys(kinds) as ChaosKind[]);
  return order.map((kind, index) => {
    const { lasts, machine } = kinds[kind];
    return {
      kind,
      machine: machine ? random.below(machines) : null,
      lastsSeconds: lasts === null ? null : random.between(lasts.least, lasts.most),
      from: (LAST_BEGINS * (index + random.below(100) / 100)) / order.length,
    };
  });
}
