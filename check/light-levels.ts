/**
 * The check `light-levels`: MaxCLL and MaxFALL that a stream states (CTA-861.3, annex P) are those of what its encoder was given, read a second time by code that shares nothing
 * with what measured them. And what of it the file itself shows, which an audit repeats: there the codec's error stands between.
 */
import type { FindingSubject } from '../findings/finding.ts';
import type { ContentLight } from '../proof/light/form.ts';
import type { PictureErrorVerdict } from '../proof/sketch/verdict.ts';
import type { CheckVerdict } from './check.ts';
import { codesOf, type LightRead, partOfCode } from './light/reader.ts';
import { nothingCame, type WhileMadeReport, whileMadeReport } from './while-made.ts';

export const LIGHT_LEVELS = 'light-levels';
const CODE = 'light-levels-differ';
type Fault = CheckVerdict['faults'][number];

/** Of two readings, each to a 32nd of a code of luma: the same light within a tenth of a percent. */
const SAME = 0.001;

/** `least` and `most`: whole cd/m² that may be stated for what was read. A field of 0 says that nothing is known, and one of 16 bits ends at 65535. */
function stated(nits: number): { readonly least: number; readonly most: number } {
  const up = (value: number): number => Math.max(1, Math.ceil(value));
  return { least: up(nits * (1 - SAME) - 0.001), most: up(nits * (1 + SAME)) };
}

const inWords = ({ least, most }: { readonly least: number; readonly most: number }): string =>
  least === most ? String(most) : `${least} to ${most}`;

/** H.265, 7.4.2: with a low byte of 0 before a MaxFALL of at most 3 there would be a byte more; the pixel's bound is then one more. */
const roomFor = (most: number, average: number): number =>
  most % 256 === 0 && average <= 3 ? most + 1 : most;

/**
 * How far the light of a file is from that of what its encoder was given. `error`: root of the mean square error of its worst frame, all planes, codes of 10 bits.
 * Measured (FFmpeg 5.1, x265 3.5, `very-fast`, qualities 12 to 38; plain, dark, flat, black, strobing, grain, noise of the whole range, edges, lines, checkers, single bright
 * pixels): docs/mechanisms/content-light.md.
 */
const limits = {
  /** The mean of a cell above the greatest pixel, codes. */
  cell: (error: number): number => 4 + 3 * error,
  /** The greatest pixel below it, codes: coding can nearly lose a single one. */
  pixel: (error: number): number => 160 + 8 * error,
  /** Logarithm of the greatest mean, above and below: coding takes noise away, and with it light. */
  above: (error: number, part: number): number => 0.03 + 0.5 * part * error,
  below: (error: number, part: number): number => 0.03 + 1.25 * part * error,
  /** cd/m². */
  rounding: 0.05,
} as const;

/** Pure. `error` null: nobody knows what coding lost. `said`: what the stream states; null: nothing. */
export function fileLightFaults(
  seen: LightRead | null,
  said: ContentLight | null,
  error: number | null,
): Fault[] {
  const nothing = (found: string): Fault[] => [
    { code: CODE, found, expected: 'MaxCLL and MaxFALL, and pictures that have them' },
  ];
  if (said === null) return nothing('nothing stated');
  if (seen === null || seen.frames === 0 || !seen.whole) return nothing('no whole frames of the file');
  if (error === null) return nothing('no error sketch that says how far the file may be off');
  const faults: Fault[] = [];
  const code = codesOf(said.greatest);
  if (seen.cell > code + limits.cell(error))
    faults.push({
      code: CODE,
      found: `MaxCLL ${said.greatest}, where 8 by 8 pixels of the file have a mean ${(seen.cell - code).toFixed(1)} codes above it`,
      expected: `at most ${limits.cell(error).toFixed(1)} codes of 10 bits above it`,
    });
  const below = codesOf(said.greatest - 1) - codesOf(seen.greatest);
  if (below > limits.pixel(error))
    faults.push({
      code: CODE,
      found: `MaxCLL ${said.greatest}, where no pixel of the file has more than ${seen.greatest.toFixed(0)} cd/m²`,
      expected: `at most ${limits.pixel(error).toFixed(0)} codes of 10 bits below it`,
    });
  const part = partOfCode(seen.average);
  const least = (said.average - 1) * Math.exp(-limits.below(error, part)) - limits.rounding;
  const most = said.average * Math.exp(limits.above(error, part)) + limits.rounding;
  if (seen.average < least || seen.average > most)
    faults.push({
      code: CODE,
      found: `MaxFALL ${said.average}, where the brightest frame of the file has a mean of ${seen.average.toFixed(2)} cd/m²`,
      expected: `a mean of ${Math.max(0, least).toFixed(2)} to ${most.toFixed(2)} cd/m²`,
    });
  return faults;
}

/** What coding lost in the worst frame, as `fileLightFaults` takes it. */
export function worstError({ errors, planes }: PictureErrorVerdict): number {
  let worst = 0;
  for (let at = 0; at < errors.length; at += planes) {
    let sum = 0;
    for (const square of errors.subarray(at, at + planes)) sum += square;
    if (sum > worst) worst = sum;
  }
  // Errors are in codes of 8 bits.
  return 4 * Math.sqrt(worst);
}

/** Pure. `said`: what the stream was given to say; null: nothing. */
export function lightLevelsVerdict(seen: LightRead, said: ContentLight | null, frames: number): CheckVerdict {
  const average = stated(seen.average);
  const pixel = stated(seen.greatest);
  const greatest = { ...pixel, most: roomFor(pixel.most, said?.average ?? 0) };
  const faults: Fault[] = [];
  const hold = (name: string, found: number | undefined, wanted: typeof average): void => {
    if (found === undefined || found < wanted.least || found > wanted.most)
      faults.push({ code: CODE, found: `${name} ${found ?? 'not stated'}`, expected: inWords(wanted) });
  };
  hold('MaxCLL', said?.greatest, greatest);
  hold('MaxFALL', said?.average, average);
  if (seen.frames !== frames || !seen.whole)
    faults.push({
      code: CODE,
      found: `light of ${seen.frames} frames${seen.whole ? '' : ' and a part of one'}`,
      expected: `${frames} frames`,
    });
  return {
    measured: `MaxCLL ${said?.greatest ?? 'not stated'}, MaxFALL ${said?.average ?? 'not stated'}; every pixel of ${seen.frames} frames, read a second time: ${seen.greatest.toFixed(2)} cd/m² in frame ${seen.brightest[0]}, ${seen.average.toFixed(2)} cd/m² in the mean of frame ${seen.brightest[1]}; an audit cannot repeat it without the source`,
    expected: `MaxCLL ${inWords(greatest)}, MaxFALL ${inWords(average)}, of ${frames} frames`,
    faults,
  };
}

export function lightLevelsReport(
  {
    seen,
    said,
    frames,
  }: { readonly seen: LightRead | null; readonly said: ContentLight | null; readonly frames: number },
  subject: FindingSubject,
): WhileMadeReport {
  return seen === null
    ? nothingCame(LIGHT_LEVELS, "no light of the encoder's input came", subject)
    : whileMadeReport(LIGHT_LEVELS, lightLevelsVerdict(seen, said, frames), subject);
}
