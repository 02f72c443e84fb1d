/** The check `burn-in-drawn`: text in what the encoder was given is what our own code draws for that frame. */
import { type FindingSubject, finding } from '../findings/finding.ts';
import type { FindingCode } from '../findings/registry.ts';
import type { TextFault, TextVerdict } from '../proof/text/compare.ts';
import { LEAST_CONTRAST } from '../proof/text/contrast.ts';
import { type CheckVerdict, faultsToFindings } from './check.ts';
import type { EncoderInputReport } from './master/encoder-input.ts';

const CHECK = 'burn-in-drawn';
/** Reported one by one; the rest is counted. */
const MAX_LISTED = 4;

const codes = {
  differs: 'burn-in-differs',
  invisible: 'burn-in-invisible',
} as const satisfies Record<TextFault['kind'], FindingCode>;

/** Pure. */
export function drawnTextVerdict(seen: TextVerdict, frames: number): CheckVerdict {
  const faults: { code: FindingCode; found: string; expected: string }[] = seen.faults
    .slice(0, MAX_LISTED)
    .map(({ kind, frame, found, expected }) => ({
      code: codes[kind],
      found: `frame ${frame}: ${found}`,
      expected,
    }));
  if (seen.faulty > faults.length)
    faults.push({
      code: 'burn-in-differs',
      found: `${seen.faulty - faults.length} more, ${seen.faulty} in all`,
      expected: 'none',
    });
  if (seen.frames !== frames || seen.samples === 0)
    faults.push({
      code: 'burn-in-differs',
      found: `text of ${seen.frames} frames compared`,
      expected: `${frames} frames`,
    });
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
): EncoderInputReport {
  if (seen === null)
    return {
      results: [],
      findings: [
        finding('check-not-run', "no text of the encoder's input came", `a result of \`${CHECK}\``, subject),
      ],
      passed: false,
    };
  const verdict = drawnTextVerdict(seen, frames);
  const passed = verdict.faults.length === 0;
  return {
    results: [
      {
        check: CHECK,
        status: passed ? 'passed' : 'failed',
        measured: verdict.measured,
        expected: verdict.expected,
        tool: 'own comparison',
      },
    ],
    findings: faultsToFindings(verdict, subject),
    passed,
  };
}
