/** Whole frames of the source and of the encoder's input, taken inside the one decode: those that proof/encoder-input/whole.ts compares. */
import { withoutBars } from '../../proof/framing.ts';
import { wholeSources, type WholeSide } from '../../proof/encoder-input/whole.ts';
import type { TilePlan } from '../../proof/encoder-input/tiles.ts';
import { START, unpacked } from './tiles.ts';

export interface WholeChains {
  /** Pads that are wanted: behind the decoder, at the encoder, and before text where there is some. */
  readonly wanted: Readonly<Partial<Record<WholeSide, string>>>;
  readonly chains: readonly string[];
  /** Pads that end in pipes. */
  readonly ends: readonly { readonly of: WholeSide; readonly pad: string }[];
}

/** `index`: of the deliverable; `pixelFormat`: of the source. */
export function wholeChains(plan: TilePlan, index: number, pixelFormat: string): WholeChains {
  const sides: readonly WholeSide[] = [
    'source',
    'given',
    ...(plan.covered.length > 0 ? (['untexted'] as const) : []),
  ];
  const pad = (of: WholeSide): string => `whole-${of}${index}`;
  return {
    wanted: Object.fromEntries(sides.map((of) => [of, pad(of)])),
    chains: sides.map((of) => {
      const numbers = of === 'source' ? wholeSources(plan) : plan.whole;
      const chosen = `select=${numbers.map((number) => `eq(n\\,${number})`).join('+')}`;
      const filters = [START, chosen, ...(of === 'source' ? unpacked(pixelFormat) : withoutBars(plan))];
      return `[${pad(of)}]${filters.join(',')}[${pad(of)}-out]`;
    }),
    ends: sides.map((of) => ({ of, pad: `${pad(of)}-out` })),
  };
}
