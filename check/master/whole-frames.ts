/** Every value of every frame, by its sketch, against what the encoder was given (`whole-frames`); and how many values a form had to limit. */
import { compareSketches, SKETCH_VALUES } from '../../proof/whole-frame-sketch.ts';
import type { PixelSamples, SketchKind } from '../../proof/pixel-samples.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { CheckVerdict } from '../check.ts';
import type { MasterMeasured } from './measured.ts';

const MAX_LISTED = 8;

/** `format`: of an outcome; what is not DPX is half floats. */
export const sketchKindOf = (format: string | undefined): SketchKind => (format === 'dpx' ? 'code' : 'half');

/** null: nobody says what the encoder was given. */
export function wholeFrames(
  { frames }: Pick<MasterMeasured, 'frames'>,
  outcome: MasterOutcome,
  points: PixelSamples | null,
): CheckVerdict | null {
  const kind = sketchKindOf(outcome.format);
  const wanted = points?.sketches?.[kind];
  if (wanted === undefined || wanted.length !== outcome.frames * SKETCH_VALUES) return null;
  const unit = kind === 'code' ? 'codes' : 'last places of a half float';
  const wrong: { found: string; expected: string }[] = [];
  let limited = 0;
  let framesLimited = 0;
  for (const { index, name, sketch, atLimit } of frames) {
    limited += atLimit;
    if (atLimit > 0) framesLimited += 1;
    const expected = 'the values that its encoder was given';
    if (sketch === null) {
      wrong.push({ found: `${name}: values that cannot be read`, expected });
      continue;
    }
    const of = wanted.subarray(index * SKETCH_VALUES, (index + 1) * SKETCH_VALUES);
    const off = compareSketches(sketch, of, outcome);
    if (off === null) continue;
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
    kind === 'code' ? 'values at an end of the scale, 0 or 1023' : 'values at 65504, the largest half';
  return {
    measured: `${frames.length - wrong.length} of ${frames.length} frames equal in every region; ${limited} ${what}${limited === 0 ? '' : `, in ${framesLimited} frames: what lies beyond is limited to it`}`,
    expected: 'every value as its encoder was given it, in all of the picture',
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
