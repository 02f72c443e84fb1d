/** The check `encoder-input`: what the encoder was given is what the recipe's own arithmetic makes of the source, to the rounding of it. */
import { type FindingSubject, finding } from '../findings/finding.ts';
import type { EncoderInputVerdict, OffSample } from '../proof/encoder-input/compare.ts';
import type { CheckVerdict } from './check.ts';
import { faultsToFindings } from './check.ts';
import type { EncoderInputReport } from './master/encoder-input.ts';

const CHECK = 'encoder-input';
/** Reported one by one; the rest is counted. */
const MAX_LISTED = 4;
const PLANES = ["Y'", 'Cb', 'Cr'] as const;

/** Pure. Of whole frames: those that differ, and those that did not come. */
function wholeFaults({ whole, allowed }: EncoderInputVerdict): Fault[] {
  const { wanted, frames, off, unknown } = whole;
  const faults = off.map(
    (one): Fault => ({
      code: CODE,
      found: `${inWords(one)}, of the whole frame`,
      expected: expectedOf(one, allowed),
    }),
  );
  const missing = wanted.filter((frame) => !frames.includes(frame));
  if (missing.length > 0 || wanted.length === 0)
    faults.push({
      code: CODE,
      found: `frames ${frames.join(', ') || 'none'} came whole`,
      expected: `frames ${wanted.join(', ')}, the first and the last among them`,
    });
  if (unknown > 0)
    faults.push({
      code: CODE,
      found: `${unknown} samples of whole frames with nothing to compare them with`,
      expected: 'every sample of them compared',
    });
  return faults;
}

type Fault = CheckVerdict['faults'][number];
const CODE = 'encoder-input-differs';

const expectedOf = ({ expected, plane }: OffSample, allowed: EncoderInputVerdict['allowed']): string =>
  `${expected.toFixed(2)}, at most ${allowed[plane].toFixed(2)} codes beside it`;

const inWords = ({ frame, plane, x, y, found, count }: OffSample): string =>
  `frame ${frame}: ${PLANES[plane]} ${found} at ${x}, ${y}${count === 1 ? '' : `, and ${count - 1} more samples`}`;

/** Pure. `seen` null: the recipe has no tiles of this deliverable. */
export function encoderInputVerdict(seen: EncoderInputVerdict, frames: number): CheckVerdict {
  const { allowed, off, samples, fewest, worst, digests, whole } = seen;
  const expected = `every sample within ${Math.max(...allowed).toFixed(2)} codes of the source, taken through crop, scaling, matrix and range in double precision`;
  const faults: Fault[] = off
    .slice(0, MAX_LISTED)
    .map((one) => ({ code: CODE, found: inWords(one), expected: expectedOf(one, allowed) }));
  if (off.length > MAX_LISTED)
    faults.push({
      code: CODE,
      found: `${off.length - MAX_LISTED} more frames differ, ${off.length} in all`,
      expected: 'none',
    });
  if (seen.frames !== frames || fewest === 0)
    faults.push({
      code: CODE,
      found: `${seen.frames} frames compared${fewest === 0 ? ', some of them at no place' : ''}`,
      expected: `${frames} frames, each at several places`,
    });
  faults.push(...wholeFaults(seen));
  return {
    measured: `${samples} samples of ${seen.frames} frames, drawn from the clip and the frame, the farthest at ${worst.toFixed(2)} of what is allowed; every sample of frames ${whole.frames.join(', ')}, ${whole.samples} in all, the farthest at ${whole.worst.toFixed(2)}; tiles of the source SHA-256 ${digests.source.slice(0, 16)}, of the encoder's input ${digests.given.slice(0, 16)}; an audit cannot repeat it without the source`,
    expected,
    faults,
  };
}

export function encoderInputReport(
  seen: EncoderInputVerdict | null,
  frames: number,
  subject: FindingSubject,
): EncoderInputReport {
  if (seen === null)
    return {
      results: [],
      findings: [
        finding('check-not-run', "no tiles of the encoder's input came", `a result of \`${CHECK}\``, subject),
      ],
      passed: false,
    };
  const verdict = encoderInputVerdict(seen, frames);
  return {
    results: [
      {
        check: CHECK,
        status: verdict.faults.length === 0 ? 'passed' : 'failed',
        measured: verdict.measured,
        expected: verdict.expected,
        tool: 'own comparison',
      },
    ],
    findings: faultsToFindings(verdict, subject),
    passed: verdict.faults.length === 0,
  };
}
