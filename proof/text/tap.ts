/** Filters that cut the windows of burnt-in text out of pictures, and lay them below each other. */
import type { BurntIn } from './form.ts';
import { textWindows } from './window.ts';

/** Renumbered, a second apart: stacking waits for equal times. */
const START = 'settb=1,setpts=N';

export interface TextChains {
  readonly burnIn: readonly Pick<BurntIn, 'box'>[];
  readonly picture: { readonly width: number; readonly height: number };
  /** Pads that pictures come from, from above to below. `name`: of the pads that are made of each. */
  readonly sides: readonly { readonly from: string; readonly name: string }[];
  /** Pad that one picture of all windows goes to. */
  readonly to: string;
}

/** Pictures of another size than they must be give windows of that size all the same: what is wrong with them is another check's business. */
export function textChains({ burnIn, picture, sides, to }: TextChains): string[] {
  const { windows, stacked } = textWindows(burnIn, picture);
  const cut = windows.map(({ left, top, width, height }) =>
    [
      `crop=w=min(${width}\\,iw):h=min(${height}\\,ih):x=${left}:y=${top}:exact=1`,
      ...(width === stacked.width && height === stacked.height
        ? []
        : [`pad=w=${stacked.width}:h=${stacked.height}`]),
    ].join(','),
  );
  const chains = sides.flatMap(({ from, name }) => [
    `[${from}]${START},split=${cut.length}${cut.map((_, at) => `[${name}-${at}-whole]`).join('')}`,
    ...cut.map((filters, at) => `[${name}-${at}-whole]${filters}[${name}-${at}]`),
  ]);
  const all = sides.flatMap(({ name }) => cut.map((_, at) => `[${name}-${at}]`));
  return [
    ...chains,
    all.length === 1 ? `${all[0]}null[${to}]` : `${all.join('')}vstack=inputs=${all.length}[${to}]`,
  ];
}
