/**
 * What a master's form had no room for, and whether its clip is strangely bright: notes, that nothing is cut off in silence. Counted by its maker before
 * anything was limited; that the files agree, `whole-frames` holds.
 */
import type { Limited, SceneLinearRange, ValuesSeen } from '../../proof/value-range.ts';
import { rangeOfAll } from '../../proof/value-range.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import { bitsOf, type MasterForm } from '../../profiles/master/form.ts';

/** Of the values of a frame. Noise around black leaves ACEScct in a few pixels, and nobody misses it; half floats end far beyond every picture. */
const MUCH_LIMITED = 0.001;
/** Of the pixels of a clip. Exposed for the grade, a lit scene has its white below 1.0 and lamps, windows and the sun above it. */
const MOSTLY = 0.5;

/** Developed pictures on their way to a display: R'G'B' of 14 bits (docs/mechanisms/colour-way.md). */
export interface ShownForm {
  readonly format: 'shown';
}

const scaleOf = (form: MasterForm | ShownForm): { readonly words: string; readonly share: number } => {
  if (form.format === 'rdd36') return { words: "Y'CbCr of 10 bits, codes 4 to 1019", share: MUCH_LIMITED };
  if (form.format === 'shown')
    return { words: "R'G'B' of 14 bits, codes 0 to 16383, ACEScct", share: MUCH_LIMITED };
  return form.format === 'dpx'
    ? {
        words: `DPX of ${bitsOf(form)} bits, codes 0 to ${2 ** bitsOf(form) - 1}, ACEScct`,
        share: MUCH_LIMITED,
      }
    : { words: 'half floats, -65504 to 65504', share: 0 };
};

const number = (value: number): string =>
  Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(4)));
const percent = (share: number): string => `${Number((100 * share).toPrecision(2))} %`;

/** Of R, G, B of linear AP0. */
export function rangeInWords({ least, greatest }: SceneLinearRange): string {
  return ['red', 'green', 'blue']
    .map((name, at) => `${name} ${number(least[at] as number)} to ${number(greatest[at] as number)}`)
    .join(', ');
}

/** Of a clip; `values`: of a frame. */
export function limitedOf(
  limited: readonly Limited[],
  values: number,
): {
  readonly all: Limited;
  readonly frames: number;
  /** Of the frame that has the most of them. */
  readonly worst: number;
} {
  let [below, above, frames, worst] = [0, 0, 0, 0];
  let [least, greatest] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const one of limited) {
    const here = one.below + one.above;
    below += one.below;
    above += one.above;
    if (here > 0) frames += 1;
    worst = Math.max(worst, here / values);
    least = Math.min(least, one.least);
    greatest = Math.max(greatest, one.greatest);
  }
  return { all: { below, above, least, greatest }, frames, worst };
}

/** Notes alone: nothing is held by them. */
export function limitsFindings(
  form: MasterForm | ShownForm,
  { width, height }: { readonly width: number; readonly height: number },
  { ranges, limited }: ValuesSeen,
  subject: FindingSubject,
): Finding[] {
  const notes: Finding[] = [];
  const pixels = width * height;
  const whole = limited.length * pixels;
  const range = rangeOfAll(ranges);
  const { words, share } = scaleOf(form);
  const { all, frames, worst } = limitedOf(limited, 3 * pixels);
  if (worst > share) {
    const { below, above, least, greatest } = all;
    const unit = share === 0 ? '' : 'code ';
    const part = (count: number, end: string): string[] =>
      count === 0 ? [] : [`${count} (${percent(count / (3 * whole))}) ${end}`];
    const parts = [
      ...part(below, `below, down to ${unit}${number(least)}`),
      ...part(above, `above, up to ${unit}${number(greatest)}`),
    ];
    notes.push(
      finding(
        'encoder-input-limited',
        `${below + above} of ${3 * whole} values limited, in ${frames} of ${limited.length} frames: ${parts.join(', ')}; in linear AP0 ${rangeInWords(range)}`,
        `${words}${share === 0 ? '' : `, and at most ${percent(share)} of the values of a frame beyond them`}`,
        subject,
      ),
    );
  }
  // Of pictures for a display the output transform makes what it makes.
  if (form.format !== 'shown' && whole > 0 && range.overWhite > MOSTLY * whole)
    notes.push(
      finding(
        'master-over-bright',
        `${percent(range.overWhite / whole)} of the pixels above scene-linear 1.0 in every channel; in linear AP0 ${rangeInWords(range)}`,
        `at most ${percent(MOSTLY)} of them`,
        subject,
      ),
    );
  return notes;
}
