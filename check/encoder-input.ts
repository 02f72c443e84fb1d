/** The check `encoder-input`: what the encoder was given is what the recipe's own arithmetic makes of the source, to the rounding of it. */
import type { FindingSubject } from '../findings/finding.ts';
import type { EncoderInputVerdict } from '../proof/encoder-input/compare.ts';
import type { OffSample } from '../proof/encoder-input/request.ts';
import type { MisplacedFrame } from '../proof/encoder-input/placing.ts';
import type { CheckVerdict } from './check.ts';
import { nothingCame, type WhileMadeReport, whileMadeReport } from './while-made.ts';

const CHECK = 'encoder-input';
/** Reported one by one; the rest is counted. */
const MAX_LISTED = 4;
const PLANES: Planes = ["Y'", 'Cb', 'Cr'];
type Planes = readonly [string, string, string];

/** Pure. Of whole frames: those that differ, and those that did not come. */
function wholeFaults({ whole, allowed }: EncoderInputVerdict, planes: Planes): Fault[] {
  const { wanted, frames, off, unknown } = whole;
  const faults = off.map(
    (one): Fault => ({
      code: CODE,
      found: `${inWords(one, planes)}, of the whole frame`,
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

const placed = ({ frame, off, x, y, cells, towards }: MisplacedFrame): string =>
  `frame ${frame}: mean luma off by ${off.toFixed(2)} steps of 8 bits around ${x}, ${y}, and of ${cells} cells in all${towards === null ? '' : `, as with ${Math.round(100 * towards.share)} % of frame ${towards.frame} in it`}`;

/** Pure. Of the means of every frame. */
function placingFaults({ placing }: EncoderInputVerdict, frames: number): Fault[] {
  if (placing === null) return [];
  const { off, allowed } = placing;
  const expected = `means within ${allowed.toFixed(2)} steps of 8 bits of the frame's own`;
  const faults = off.slice(0, MAX_LISTED).map((one): Fault => ({ code: CODE, found: placed(one), expected }));
  if (off.length > MAX_LISTED)
    faults.push({
      code: CODE,
      found: `${off.length - MAX_LISTED} more frames with other means, ${off.length} in all`,
      expected: 'none',
    });
  if (placing.frames !== frames)
    faults.push({ code: CODE, found: `means of ${placing.frames} frames`, expected: `of ${frames} frames` });
  return faults;
}

/** Pure. What is said of them. */
const placingInWords = ({ placing }: EncoderInputVerdict): string =>
  placing === null
    ? 'too small for means over the picture'
    : `means of ${placing.cells} cells of every frame, the farthest off by ${placing.worst.toFixed(2)} steps of 8 bits${placing.limited === 0 ? '' : `; of ${placing.limited} frames they say nothing, since much had to be limited`}`;

type Fault = CheckVerdict['faults'][number];
const CODE = 'encoder-input-differs';

const expectedOf = ({ expected, plane }: OffSample, allowed: EncoderInputVerdict['allowed']): string =>
  `${expected.toFixed(2)}, at most ${allowed[plane].toFixed(2)} codes beside it`;

const inWords = ({ frame, plane, x, y, found, count }: OffSample, planes: Planes): string =>
  `frame ${frame}: ${planes[plane]} ${found} at ${x}, ${y}${count === 1 ? '' : `, and ${count - 1} more samples`}`;

/** Share of the values looked at from which on it is said beside the verdict: one in a thousand. */
const MUCH_LIMITED = 0.001;

/** Pure. What the arithmetic had to limit, of everything that was looked at. */
export function limitedOf({ limits, samples, whole }: EncoderInputVerdict): {
  readonly share: number;
  readonly inWords: string;
} {
  const sum = (of: Exclude<keyof typeof limits, 'farthest'>): number => limits[of] + whole.limits[of];
  const of = samples + whole.samples;
  const all = sum('between') + sum('colours') + sum('codes');
  if (all === 0) return { share: 0, inWords: 'no value had to be limited' };
  const share = all / of;
  const farthest = Math.max(limits.farthest, whole.limits.farthest);
  return {
    share,
    inWords: `${all} values limited for ${of} samples (${(100 * share).toPrecision(2)} %): ${sum('between')} between the scaler's passes, ${sum('colours')} of R'G'B' on the way to another matrix, ${sum('codes')} at an end of the encoder's codes, the farthest ${farthest.toFixed(1)} steps of 8 bits beyond`,
  };
}

/** Pure. `planes`: what those that were compared hold. */
export function encoderInputVerdict(
  seen: EncoderInputVerdict,
  frames: number,
  planes: Planes = PLANES,
): CheckVerdict {
  const { allowed, off, samples, fewest, worst, digests, whole } = seen;
  const expected = `every sample within ${Math.max(...allowed).toFixed(2)} codes of the source, taken through crop, scaling, matrix and range in double precision`;
  const faults: Fault[] = off
    .slice(0, MAX_LISTED)
    .map((one) => ({ code: CODE, found: inWords(one, planes), expected: expectedOf(one, allowed) }));
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
  faults.push(...wholeFaults(seen, planes), ...placingFaults(seen, frames));
  const limited = limitedOf(seen);
  return {
    ...(limited.share > MUCH_LIMITED
      ? {
          notes: [
            {
              code: 'encoder-input-limited' as const,
              found: limited.inWords,
              expected: `at most ${100 * MUCH_LIMITED} % of values beyond what the deliverable can hold`,
            },
          ],
        }
      : {}),
    measured: `${samples} samples of ${seen.frames} frames, drawn from the clip and the frame, the farthest at ${worst.toFixed(2)} of what is allowed; every sample of frames ${whole.frames.join(', ')}, ${whole.samples} in all, the farthest at ${whole.worst.toFixed(2)}; ${placingInWords(seen)}; ${limited.inWords}; tiles of the source SHA-256 ${digests.source.slice(0, 16)}, of the encoder's input ${digests.given.slice(0, 16)}; an audit cannot repeat it without the source`,
    expected,
    faults,
  };
}

export function encoderInputReport(
  seen: EncoderInputVerdict | null,
  frames: number,
  subject: FindingSubject,
): WhileMadeReport {
  return seen === null
    ? nothingCame(CHECK, "no tiles of the encoder's input came", subject)
    : whileMadeReport(CHECK, encoderInputVerdict(seen, frames), subject);
}
