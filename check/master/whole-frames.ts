/** Every value of every frame, by its sketch, against what the encoder was given (`whole-frames`); and how many values a form had to limit. */
import type { ValuesMeasured } from '../../ledger/report.ts';
import { curveOf } from '../../proof/curve-steps.ts';
import { compareSketches, regionAt, SKETCH_VALUES } from '../../proof/whole-frame-sketch.ts';
import type { SceneLinearRange, ValuesSeen } from '../../proof/value-range.ts';
import { bitsOf, isLossy, type MasterForm } from '../../profiles/master/form.ts';
import type { PixelSamples, SketchKind } from '../../proof/pixel-samples.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { CheckVerdict } from '../check.ts';
import type { FrameMeasured, MasterMeasured } from './measured.ts';
import { frameLoss, mostLoss } from './loss.ts';
import { halfRounding } from './tolerance.ts';

const MAX_LISTED = 8;

const kinds = { 10: 'code', 12: 'code-12', 16: 'code-16' } as const;
/** What is not DPX is half floats; where they lose something they are compared on the curve that the loss is even on. */
export function sketchKindOf(form: MasterForm | undefined): SketchKind {
  if (form?.format === 'dpx') return kinds[bitsOf(form)];
  return form !== undefined && isLossy(form) ? 'curve' : 'half';
}

const HALF_MOST = 65_504;
const CHANNELS = ['R', 'G', 'B'] as const;

/** How far an end of the scale that the file has may be from what its maker saw there: half of the last place, or what the level may lose. */
function endsDiffer(
  { least, greatest }: FrameMeasured,
  range: SceneLinearRange,
  form: MasterForm,
): string | null {
  const onCurve = [...range.least, ...range.greatest].map((value) => Math.abs(curveOf(value)));
  const lost = isLossy(form) ? mostLoss(form, Math.max(...onCurve)) : null;
  for (const [at, channel] of CHANNELS.entries())
    for (const [found, seen] of [
      [least[at] as number, range.least[at] as number],
      [greatest[at] as number, range.greatest[at] as number],
    ] as const) {
      const wanted = Math.max(-HALF_MOST, Math.min(HALF_MOST, seen));
      const isNear =
        lost === null
          ? Math.abs(found - wanted) <= halfRounding(wanted)
          : Math.abs(curveOf(found) - curveOf(wanted)) <= (lost[at] as number);
      if (!isNear) return `${channel} goes to ${found}, and its maker saw ${seen}`;
    }
  return null;
}

/** What the maker counted of a frame and the file does not show; null: nothing. */
function unlikeTheMaker(frame: FrameMeasured, form: MasterForm, seen: ValuesSeen): string | null {
  const limited = seen.limited[frame.index];
  const range = seen.ranges[frame.index];
  if (limited === undefined || range === undefined) return 'nobody counted what its form had no room for';
  const wanted = limited.below + limited.above;
  // What loses something has no value at the end of the scale because one was limited to it.
  if (!isLossy(form) && frame.atLimit < wanted)
    return `${frame.atLimit} values at the ends of the scale, and ${wanted} were limited`;
  return form.format === 'dpx' ? null : endsDiffer(frame, range, form);
}

/** Of the whole clip, from the bytes on disk; null: there is no frame. */
function valuesOf(frames: MasterMeasured['frames'], outcome: MasterOutcome): ValuesMeasured | null {
  const read = frames.filter(({ sketch }) => sketch !== null);
  if (read.length === 0) return null;
  return {
    of: outcome.format === 'dpx' ? `codes of ${bitsOf(outcome)} bits` : 'linear AP0',
    channels: CHANNELS.map((channel, at) => ({
      channel,
      least: read.reduce((best, { least }) => Math.min(best, least[at] as number), Number.POSITIVE_INFINITY),
      greatest: read.reduce(
        (best, { greatest }) => Math.max(best, greatest[at] as number),
        Number.NEGATIVE_INFINITY,
      ),
    })),
    atEnds: read.reduce((sum, { atLimit }) => sum + atLimit, 0),
    overWhite: read.reduce((sum, { overWhite }) => sum + overWhite, 0),
    pixels: read.length * outcome.width * outcome.height,
  };
}

/** Root of a mean square, in thousandths. */
const inSteps = (square: number): string => `${(1000 * Math.sqrt(square)).toPrecision(3)} thousandths`;

const short = (value: number): string => String(Number(value.toPrecision(5)));

function valuesInWords({ of, channels, overWhite, pixels }: ValuesMeasured): string {
  const ends = channels.map(
    ({ channel, least, greatest }) => `${channel} ${short(least)} to ${short(greatest)}`,
  );
  return `${ends.join(', ')} in ${of}; ${Number(((100 * overWhite) / pixels).toPrecision(3))} % of the pixels above scene-linear 1.0`;
}

/** null: nobody says what the encoder was given. `seen`: what its maker counted; null: nobody says, as in an audit. */
export function wholeFrames(
  { frames }: Pick<MasterMeasured, 'frames'>,
  outcome: MasterOutcome,
  points: PixelSamples | null,
  seen: ValuesSeen | null,
): CheckVerdict | null {
  const kind = sketchKindOf(outcome);
  const wanted = points?.sketches?.[kind];
  if (wanted === undefined || wanted.length !== outcome.frames * SKETCH_VALUES) return null;
  const unit = outcome.format === 'dpx' ? 'codes' : 'last places of a half float';
  const wrong: { found: string; expected: string }[] = [];
  let limited = 0;
  let framesLimited = 0;
  /** Of what a frame may lose, the most that one does. */
  let lost = 0;
  for (const frame of frames) {
    const { index, name, sketch, atLimit } = frame;
    limited += atLimit;
    if (atLimit > 0) framesLimited += 1;
    const expected = 'the values that its encoder was given';
    if (sketch === null) {
      wrong.push({ found: `${name}: values that cannot be read`, expected });
      continue;
    }
    const of = wanted.subarray(index * SKETCH_VALUES, (index + 1) * SKETCH_VALUES);
    if (isLossy(outcome)) {
      const ends = [...frame.least, ...frame.greatest].map((value) => Math.abs(curveOf(value)));
      const { found, allowed, worst } = frameLoss(
        outcome,
        { found: sketch, wanted: of, greatest: Math.max(...ends) },
        outcome,
      );
      lost = Math.max(lost, found / allowed);
      const { left, top, right, bottom } = regionAt(worst.region, outcome.width, outcome.height);
      if (!(found <= allowed))
        wrong.push({
          found: `${name}: off by ${inSteps(found)} of the curve`,
          expected: `at most ${inSteps(allowed)}, as level ${outcome.dwaLevel} may lose`,
        });
      else if (!(worst.found <= worst.allowed))
        wrong.push({
          found: `${name}: from ${left}, ${top} to ${right}, ${bottom} off by ${inSteps(worst.found)} of the curve`,
          expected: `at most ${inSteps(worst.allowed)} in a region, as level ${outcome.dwaLevel} may lose`,
        });
      else {
        const unlike = seen === null ? null : unlikeTheMaker(frame, outcome, seen);
        if (unlike !== null) wrong.push({ found: `${name}: ${unlike}`, expected });
      }
      continue;
    }
    const off = compareSketches(sketch, of, outcome);
    if (off === null) {
      const unlike = seen === null ? null : unlikeTheMaker(frame, outcome, seen);
      if (unlike !== null) wrong.push({ found: `${name}: ${unlike}`, expected });
      continue;
    }
    const { left, top, right, bottom } = off.worst;
    wrong.push({
      found: `${name}: ${off.regions} of 64 regions differ, most of all from ${left}, ${top} to ${right}, ${bottom}, by about ${off.steps.toPrecision(3)} ${unit} of every pixel`,
      expected,
    });
  }
  const faults = wrong
    .slice(0, MAX_LISTED)
    .map((one) => ({ code: 'master-picture-differs', ...one }) as const);
  const what =
    outcome.format === 'dpx'
      ? `values at an end of the scale, 0 or ${2 ** bitsOf(outcome) - 1}`
      : 'values at 65504, the largest half';
  const values = valuesOf(frames, outcome);
  return {
    measured: `${frames.length - wrong.length} of ${frames.length} frames ${isLossy(outcome) ? `within what level ${outcome.dwaLevel} may lose, at worst ${(100 * Math.sqrt(lost)).toFixed(0)} % of it` : 'equal in every region'}; ${limited} ${what}${limited === 0 ? '' : `, in ${framesLimited} frames: what lies beyond is limited to it`}${values === null ? '' : `; ${valuesInWords(values)}`}`,
    expected: isLossy(outcome)
      ? 'of every frame and region no more lost than the level of DWA may'
      : 'every value as its encoder was given it, in all of the picture',
    ...(values === null ? {} : { values }),
    faults:
      wrong.length > MAX_LISTED
        ? [
            ...faults,
            {
              code: 'master-picture-differs',
              found: `${wrong.length - MAX_LISTED} more frames differ, ${wrong.length} in all`,
              expected: 'none',
            },
          ]
        : faults,
  };
}
