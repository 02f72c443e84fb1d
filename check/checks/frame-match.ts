import type { FindingCode } from '../../findings/registry.ts';
import type { PictureVerdict, Span } from '../../proof/compare.ts';
import type { OrderDifference, OrderFault } from '../../proof/describe.ts';
import { GRID_HEIGHT, GRID_WIDTH } from '../../proof/form.ts';
import type { Check, CheckVerdict } from '../check.ts';

/** More would bury the first. */
const MAX_LISTED = 8;

const frames = (from: number, to: number): string =>
  from === to ? `frame ${from}` : `frames ${from} to ${to}`;

interface Words {
  readonly code: FindingCode;
  readonly found: (difference: OrderDifference) => string;
  readonly expected: (difference: OrderDifference) => string;
}

const own = ({ from, to }: OrderDifference): string => `the picture of source ${frames(from, to)}`;
const words: Readonly<Record<OrderFault, Words>> = {
  missing: {
    code: 'frame-missing',
    found: ({ from, to }) => `source ${frames(from, to)} nowhere`,
    expected: () => 'every source frame, once',
  },
  repeated: {
    code: 'frame-repeated',
    found: ({ from, to, by }) => `${frames(from, to)} shows source frame ${by} again`,
    expected: own,
  },
  frozen: {
    code: 'frames-frozen',
    found: ({ from, to, by }) => `${frames(from, to)} stand still on source frame ${by}`,
    expected: own,
  },
  swapped: {
    code: 'frames-swapped',
    found: ({ from, to }) => `frames ${from} and ${to} exchanged`,
    expected: own,
  },
  shifted: {
    code: 'frames-shifted',
    found: ({ from, to, by }) => `${frames(from, to)} moved by ${(by ?? 0) > 0 ? '+' : ''}${by}`,
    expected: own,
  },
  foreign: {
    code: 'frame-foreign',
    found: ({ from, to }) => `${frames(from, to)}: a picture that the source does not have`,
    expected: own,
  },
  black: { code: 'frame-black', found: ({ from, to }) => `${frames(from, to)} black`, expected: own },
  blank: { code: 'frame-black', found: ({ from, to }) => `${frames(from, to)} of one colour`, expected: own },
  damaged: {
    code: 'picture-damaged',
    found: ({ from, to }) => `${frames(from, to)} differ in a part of the picture`,
    expected: own,
  },
};

function spans(list: readonly Span[]): string {
  const reported = list
    .slice(0, MAX_LISTED)
    .map(({ from, to }) => (from === to ? `${from}` : `${from}-${to}`))
    .join(', ');
  return list.length > MAX_LISTED ? `${reported} and ${list.length - MAX_LISTED} more spans` : reported;
}

function faultsOf({
  turn,
  placement,
  fields,
  differences,
  offColours,
}: PictureVerdict): CheckVerdict['faults'] {
  if (turn !== null) return [{ code: 'picture-turned', found: turn, expected: 'the way the source stands' }];
  const faults: { code: FindingCode; found: string; expected: string }[] = differences
    .slice(0, MAX_LISTED)
    .map((difference) => {
      const { code, found, expected } = words[difference.kind];
      return { code, found: found(difference), expected: expected(difference) };
    });
  const rest = differences.slice(MAX_LISTED);
  if (rest.length > 0)
    faults.push({
      code: words[(rest[0] as OrderDifference).kind].code,
      found: `${rest.length} more differences`,
      expected: 'none',
    });
  for (const { frame, off, usual } of offColours.slice(0, MAX_LISTED))
    faults.push({
      code: 'frame-colour-differs',
      found: `frame ${frame}: colours off by ${off.toFixed(1)} steps of 8 bits`,
      expected: `those of its source frame; usual of the frames around are ${usual.toFixed(1)}`,
    });
  if (offColours.length > MAX_LISTED)
    faults.push({
      code: 'frame-colour-differs',
      found: `${offColours.length - MAX_LISTED} more frames, ${offColours.length} in all`,
      expected: 'none',
    });
  if (fields === 'reversed')
    faults.push({
      code: 'fields-reversed',
      found: 'frames as of the later field',
      expected: 'frames as of the earlier field',
    });
  if (placement?.displaced === true) {
    const moved = `moved by ${((placement.right * 100) / GRID_WIDTH).toFixed(2)} % of the width and ${((placement.down * 100) / GRID_HEIGHT).toFixed(2)} % of the height, enlarged by ${((placement.scale - 1) * 100).toFixed(2)} %`;
    faults.push({ code: 'picture-displaced', found: moved, expected: 'in its place, at its size' });
  }
  return faults;
}

/**
 * Every frame is the picture of its source frame: in order, once, whole, the right way round and in its place. Where
 * neighbours look the same their order rests on times, and the report says so.
 */
export const frameMatch: Check = {
  name: 'frame-match',
  rests: ['decode', 'fingerprints'],
  run: ({ measured: { witness }, compared: { picture }, outcome }) => {
    if (picture === null || witness === null) return null;
    const count = witness.picture?.frames ?? 0;
    const unproven = picture.unproven.reduce((sum, { from, to }) => sum + to - from + 1, 0);
    const faults = [...faultsOf(picture)];
    if (count !== outcome.frames && faults.length === 0)
      faults.push({ code: 'frame-missing', found: `${count} frames`, expected: `${outcome.frames} frames` });
    return {
      measured: `${count} frames: ${picture.right} proved to be their source frame${unproven === 0 ? '' : `, ${unproven} that cannot be told from their neighbours (${spans(picture.unproven)})`}${picture.fields === 'unproven' ? ', which field is the earlier cannot be told' : ''}${faults.length === 0 ? '' : `; ${faults.length} differences`}`,
      expected: `${outcome.frames} frames, each its source frame`,
      ...(unproven === 0 ? {} : { unproven: picture.unproven.map(({ from, to }) => [from, to] as const) }),
      faults,
    };
  },
};
