/** Whether the file of a still is what was decided: its size, its coding, what it says of itself, and nothing besides. Pure. */
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { stillTexts } from '../../profiles/stills/texts.ts';
import { type ReadStill, readStill, StillDamaged } from './png.ts';

/** H.273, Table 2; the checker's own. */
const PRIMARIES: Readonly<Record<StillsOutcome['primaries'], number>> = {
  bt709: 1,
  bt470m: 4,
  'bt601-625': 5,
  'bt601-525': 6,
  st240: 7,
  film: 8,
  bt2020: 9,
  xyz: 10,
  'p3-dci': 11,
  'p3-d65': 12,
};

export interface StillInQuestion {
  readonly roll: string;
  readonly clip: { readonly id: string; readonly name: string };
  readonly outcome: StillsOutcome;
  readonly still: StillsOutcome['stills'][number];
}

export type StillForm =
  | { readonly read: ReadStill; readonly wrong: readonly StillFault[] }
  | { readonly read: null; readonly wrong: readonly [StillFault] };
export interface StillFault {
  readonly found: string;
  readonly expected: string;
}

const words = (list: readonly (readonly [string, string])[]): string =>
  list.map(([keyword, text]) => `${keyword} ${text}`).join('; ');

export function stillForm(file: Buffer, { roll, clip, outcome, still }: StillInQuestion): StillForm {
  let read: ReadStill;
  try {
    read = readStill(file);
  } catch (error) {
    if (!(error instanceof StillDamaged)) throw error;
    return { read: null, wrong: [{ found: error.message, expected: 'a whole PNG file' }] };
  }
  const texts = stillTexts({ roll, clip }, outcome, still);
  const chunks = [
    'IHDR',
    'cICP',
    ...(outcome.primaries === 'bt709' ? ['sRGB', 'cHRM'] : []),
    'gAMA',
    ...texts.map(() => 'iTXt'),
    'IDAT',
    'IEND',
  ];
  const pairs: [found: string, expected: string][] = [
    [
      `${read.width}x${read.height}, ${read.bits} bits`,
      `${outcome.width}x${outcome.height}, ${outcome.bits} bits`,
    ],
    [
      `coded as ${read.coding.join(' ')}`,
      `coded as ${[PRIMARIES[outcome.primaries], 13, 0, 1].join(' ')} (H.273: sRGB, R'G'B', full range)`,
    ],
    [`pixels of ${read.perUnit === null ? '1:1' : `${read.perUnit[1]}:${read.perUnit[0]}`}`, 'pixels of 1:1'],
    [words([...read.texts]), words(texts)],
    [`chunks ${read.chunks.join(' ')}`, `chunks ${chunks.join(' ')}`],
  ];
  return {
    read,
    wrong: pairs.flatMap(([found, expected]) =>
      // What coding is, is named for people behind the numbers.
      expected === found || expected.startsWith(`${found} (`) ? [] : [{ found, expected }],
    ),
  };
}
