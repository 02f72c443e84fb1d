/** The check `colour-way`: the pictures went from the recorded code values to those of the display by the stated stages, to the rounding of each. */
import type { FindingSubject } from '../findings/finding.ts';
import type { TableError } from '../proof/colour-way/table-error.ts';
import type { OffPixel, ThinVerdict } from '../proof/colour-way/thin.ts';
import type { EncoderInputVerdict } from '../proof/encoder-input/compare.ts';
import type { CheckVerdict } from './check.ts';
import { encoderInputVerdict } from './encoder-input.ts';
import { nothingCame, type WhileMadeReport, whileMadeReport } from './while-made.ts';

export const COLOUR_WAY = 'colour-way';
const CODE = 'colour-way-differs';
/** Reported one by one; the rest is counted. */
const MAX_LISTED = 4;
const CHANNELS = ["R'", "G'", "B'"] as const;

/** What was seen of it while a deliverable was made. */
export interface ColourWaySeen {
  /** Whether its pictures are recorded R'G'B', or such as threads developed, which are held against their source elsewhere. */
  readonly from: 'recorded' | 'developed';
  /** R'G'B' as recorded, against the decoded pictures; null: none came, or they were developed. */
  readonly recorded: EncoderInputVerdict | null;
  /** Before the table against behind it. */
  readonly thin: ThinVerdict;
  /** SHA-256 of the table, and what it differs from the exact way by. */
  readonly table: string;
  readonly error: TableError;
}

const inWords = ({ frame, channel, x, y, found, count }: OffPixel): string =>
  `frame ${frame}: ${CHANNELS[channel]} ${found} in the square ${x}, ${y}${count === 1 ? '' : `, and ${count - 1} more samples`}`;

/** Pure. */
export function colourWayVerdict(
  { from, recorded, thin, table, error }: ColourWaySeen,
  frames: number,
): CheckVerdict {
  const expected = `every sample within ${thin.allowed.toFixed(1)} codes of 14 bits of what the table gives, and of the decoded picture before it`;
  const faults: CheckVerdict['faults'][number][] = thin.off.slice(0, MAX_LISTED).map((one) => ({
    code: CODE,
    found: inWords(one),
    expected: `${one.expected.toFixed(2)}, cut off`,
  }));
  if (thin.off.length > MAX_LISTED)
    faults.push({
      code: CODE,
      found: `${thin.off.length - MAX_LISTED} more frames differ, ${thin.off.length} in all`,
      expected: 'none',
    });
  if (thin.frames !== frames)
    faults.push({ code: CODE, found: `${thin.frames} frames compared`, expected: `${frames} frames` });
  const before = recorded === null ? null : encoderInputVerdict(recorded, frames, CHANNELS);
  if (from === 'recorded')
    faults.push(
      ...(before?.faults ?? [
        { code: CODE, found: "no recorded R'G'B' came", expected: `of ${frames} frames` },
      ]),
    );
  return {
    ...(before?.notes === undefined ? {} : { notes: before.notes }),
    measured: `${thin.samples} samples of ${thin.frames} frames through the table, the farthest off by ${thin.worst.toFixed(2)} codes of 14 bits; table SHA-256 ${table}, which differs from the exact way by at most ${error.most.toFixed(2)} ΔE_ITP (BT.2124) in 99.8 % of ${error.colours} colours as pictures have them, and by ${error.greatest.toFixed(2)} at the farthest; thinned pictures SHA-256 ${thin.digests.before.slice(0, 16)} before it, ${thin.digests.behind.slice(0, 16)} behind it${from === 'developed' ? '' : `; recorded R'G'B': ${before?.measured ?? 'nothing came'}`}`,
    expected,
    faults,
  };
}

export function colourWayReport(
  seen: ColourWaySeen | null,
  frames: number,
  subject: FindingSubject,
): WhileMadeReport {
  return seen === null
    ? nothingCame(COLOUR_WAY, 'no pictures of the colour way came', subject)
    : whileMadeReport(COLOUR_WAY, colourWayVerdict(seen, frames), subject);
}
