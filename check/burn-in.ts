/** The check `burn-in-drawn`: text in what the encoder was given is what our own code draws for that frame. */
import type { FindingSubject } from '../findings/finding.ts';
import type { FindingCode } from '../findings/registry.ts';
import type { TextFault, TextVerdict } from '../proof/text/compare.ts';
import { LEAST_CONTRAST } from '../proof/text/contrast.ts';
import type { CheckVerdict } from './check.ts';
import { nothingCame, type WhileMadeReport, whileMadeReport } from './while-made.ts';

type Fault = CheckVerdict['faults'][number];

const CHECK = 'burn-in-drawn';
/** Reported one by one; the rest is counted. */
const MAX_LISTED = 4;

const codes = {
  differs: 'burn-in-differs',
  invisible: 'burn-in-invisible',
} as const satisfies Record<TextFault['kind'], FindingCode>;

/** The first faults, how many more there are, and frames that nobody looked at. Pure. */
export function textFaults(
  seen: {
    readonly faults: readonly { readonly frame: number; readonly found: string; readonly expected: string }[];
    readonly faulty: number;
    readonly frames: number;
    /** Samples or characters. */
    readonly looked: number;
  },
  frames: number,
  codeOf: (at: number) => FindingCode,
): Fault[] {
  const faults: Fault[] = seen.faults.slice(0, MAX_LISTED).map(({ frame, found, expected }, at) => ({
    code: codeOf(at),
    found: `frame ${frame}: ${found}`,
    expected,
  }));
  if (seen.faulty > faults.length)
    faults.push({
      code: codeOf(0),
      found: `${seen.faulty - faults.length} more, ${seen.faulty} in all`,
      expected: 'none',
    });
  if (seen.frames !== frames || seen.looked === 0)
    faults.push({
      code: 'burn-in-differs',
      found: `text of ${seen.frames} frames looked at`,
      expected: `${frames} frames`,
    });
  return faults;
}

/** Pure. */
export function drawnTextVerdict(seen: TextVerdict, frames: number): CheckVerdict {
  const faults = textFaults(
    { ...seen, looked: seen.samples },
    frames,
    (at) => codes[seen.faults[at]?.kind ?? 'differs'],
  );
  return {
    measured: `${seen.samples} samples in and around the text of ${seen.frames} frames, the farthest at ${seen.worst.toFixed(2)} of what is allowed${seen.contrast === null ? '' : `, a contrast of ${seen.contrast.toFixed(1)} to 1 at least`}; an audit cannot repeat it without the source`,
    expected: `the words of each frame, drawn by our own code over the picture before them, to rounding and to the edge of a letter; ${LEAST_CONTRAST} to 1`,
    faults,
  };
}

export function drawnTextReport(
  seen: TextVerdict | null,
  frames: number,
  subject: FindingSubject,
): WhileMadeReport {
  return seen === null
    ? nothingCame(CHECK, "no text of the encoder's input came", subject)
    : whileMadeReport(CHECK, drawnTextVerdict(seen, frames), subject);
}
