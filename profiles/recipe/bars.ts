/** Black around a delivered picture: what makes it, and each part of it hashed whole as its encoder is given it, frame by frame, for check/bars.ts. */
import { bitDepthOf } from '../../media/probe/picture.ts';
import { barsOf } from '../../proof/bars.ts';
import { pictureHashes } from '../../proof/exact.ts';
import type { Outcome } from '../outcome.ts';
import { START } from './tiles.ts';

export interface BarChains {
  /** The pad that is wanted of the picture, where no text has been drawn into it. */
  readonly from: string;
  readonly chains: readonly string[];
  /** By bar: output options, which end in a pipe. */
  readonly outputs: readonly (readonly string[])[];
}

/** null: there is nothing around it. `index`: of the deliverable. */
export function barChains({ proof, width, height }: Outcome, index: number): BarChains | null {
  const bars = barsOf(proof.framing, { width, height });
  if (bars.length === 0) return null;
  const from = `bars${index}`;
  const pad = (bar: number): string => `${from}-${bar}`;
  return {
    from,
    chains: [
      `[${from}]${START},split=${bars.length}${bars.map((_, bar) => `[${pad(bar)}-in]`).join('')}`,
      ...bars.map(
        ({ left, top, width: w, height: h }, bar) =>
          `[${pad(bar)}-in]crop=w=${w}:h=${h}:x=${left}:y=${top}:exact=1[${pad(bar)}]`,
      ),
    ],
    outputs: bars.map((_, bar) => pictureHashes(pad(bar))),
  };
}

/** Of limited range: luma and chroma that a lookup gives for every code. */
function blackened(pixels: string): string {
  const codes = 2 ** (bitDepthOf(pixels, undefined) - 8);
  return `lutyuv=y=${16 * codes}:u=${128 * codes}:v=${128 * codes}`;
}

/**
 * From the picture to that with bars around it. `pad` is no way to them: of FFmpeg 5.1 it makes chroma of 514 in 10 bits. A corner of the picture, made as large as
 * a bar and black by a lookup, is put beside it.
 */
export function barFilters({ proof, width, height }: Outcome, pixels: string, key: string): string[] {
  const { window, inset } = proof.framing;
  const bars = barsOf(proof.framing, { width, height });
  if (inset === null || bars.length === 0) return [];
  const pad = (name: string): string => `[around${key}-${name}]`;
  const place = ({ left, top }: (typeof bars)[number]): 'above' | 'below' | 'before' | 'behind' =>
    left === 0 && top === 0 && inset.top > 0
      ? 'above'
      : top >= inset.top + window.height
        ? 'below'
        : left === 0
          ? 'before'
          : 'behind';
  const made = bars.map((bar) => ({ bar, name: place(bar) }));
  const black = made.map(
    ({ bar, name }) =>
      `${pad(`${name}-in`)}crop=w=2:h=2:x=0:y=0:exact=1,scale=w=${bar.width}:h=${bar.height}:flags=neighbor+bitexact,${blackened(pixels)},setsar=1${pad(name)}`,
  );
  const beside = (names: readonly string[], by: 'hstack' | 'vstack'): string =>
    `${names.map(pad).join('')}${by}=inputs=${names.length}`;
  const has = (name: string): string[] => (made.some((one) => one.name === name) ? [name] : []);
  const across = [...has('before'), 'picture', ...has('behind')];
  const row = across.length === 1 ? 'picture' : 'row';
  const down = [...has('above'), row, ...has('below')];
  const last =
    down.length === 1
      ? beside(across, 'hstack')
      : [...(row === 'row' ? [`${beside(across, 'hstack')}${pad('row')}`] : []), beside(down, 'vstack')].join(
          ';',
        );
  return [
    `split=${1 + made.length}${pad('picture')}${made.map(({ name }) => pad(`${name}-in`)).join('')};${[...black, last].join(';')}`,
  ];
}
