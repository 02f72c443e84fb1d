/** The check `bars`: what lies around the picture is black, to the sample in what the encoder was given, and as near as its codec keeps it in the file. Pure. */
import type { FindingSubject } from '../findings/finding.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { BLACK, barsOf, blackDigest } from '../proof/bars.ts';
import { HASH_BYTES } from '../proof/exact.ts';
import type { Rectangle } from '../proof/framing.ts';
import { plainPlanes, type SketchForm, type SketchPlane, sketchNumbers } from '../proof/sketch/form.ts';
import type { CheckVerdict } from './check.ts';
import { nothingCame, type WhileMadeReport, whileMadeReport } from './while-made.ts';

export const BARS = 'bars';
const CODE = 'bars-not-black';
const MAX_LISTED = 4;

type Fault = CheckVerdict['faults'][number];

const inWords = ({ width, height, left, top }: Rectangle): string =>
  `${width}x${height} pixels at ${left}, ${top}`;

/** What the picture does not fill on two sides differs by no more than a pair of pixels: chroma begins with whole samples. */
function offCentre({ proof, width, height }: Outcome): Fault[] {
  const { window, inset } = proof.framing;
  if (inset === null) return [];
  const off = Math.max(
    Math.abs(width - window.width - 2 * inset.left),
    Math.abs(height - window.height - 2 * inset.top),
  );
  return off <= 2
    ? []
    : [
        {
          code: CODE,
          found: `a picture that lies ${off} pixels beside the middle`,
          expected: 'at most 2 pixels',
        },
      ];
}

/** `seen`: by bar, the hash of each frame; `pixelFormat`: of the encoder's input. */
export function barsVerdict(seen: readonly Buffer[], outcome: Outcome, pixelFormat: string): CheckVerdict {
  const bars = barsOf(outcome.proof.framing, outcome);
  const expected = `black in every sample of ${bars.map(inWords).join(' and ')}, in ${outcome.frames} frames`;
  const faults: Fault[] = offCentre(outcome);
  for (const [index, bar] of bars.entries()) {
    const hashes = seen[index] ?? Buffer.alloc(0);
    const black = blackDigest(pixelFormat, bar);
    const count = Math.floor(hashes.length / HASH_BYTES);
    const others = Array.from({ length: count }, (_, frame) => frame).filter(
      (frame) => !hashes.subarray(frame * HASH_BYTES, (frame + 1) * HASH_BYTES).equals(black),
    );
    if (others.length > 0)
      faults.push({
        code: CODE,
        found: `${others.length} frames, ${others.slice(0, MAX_LISTED).join(', ')}${others.length > MAX_LISTED ? ' and more' : ''}, that are not black in ${inWords(bar)}`,
        expected,
      });
    if (count !== outcome.frames)
      faults.push({ code: CODE, found: `${count} frames of ${inWords(bar)}`, expected });
  }
  return {
    measured: `${bars.map(inWords).join(' and ')} of every frame hashed as the encoder was given them; an audit cannot repeat it without the source`,
    expected,
    faults,
  };
}

export function barsReport(
  seen: readonly Buffer[] | null,
  { outcome, pixelFormat }: { readonly outcome: Outcome; readonly pixelFormat: string },
  subject: FindingSubject,
): WhileMadeReport {
  return seen === null
    ? nothingCame(BARS, "nothing around the encoder's picture came", subject)
    : whileMadeReport(BARS, barsVerdict(seen, outcome, pixelFormat), subject);
}

/** Steps of 8 bits. */
const BESIDE = 1;

/** A macroblock of most codecs: one that the edge of the picture lies in has some of it. */
const EDGE = 16;

/** Regions of a plane that lie in a bar, without those beside text. */
function regionsIn(bar: Rectangle, plane: SketchPlane, { width, height, burnIn }: Outcome): number[] {
  const regions: number[] = [];
  const [wide, tall] = [width / plane.columns, height / plane.rows];
  const isTexted = (column: number, row: number): boolean =>
    burnIn.some(
      ({ box }) =>
        column * wide < box.left + box.width + EDGE &&
        (column + 1) * wide > box.left - EDGE &&
        row * tall < box.top + box.height + EDGE &&
        (row + 1) * tall > box.top - EDGE,
    );
  for (let row = 0; row < plane.rows; row += 1)
    for (let column = 0; column < plane.columns; column += 1)
      if (
        column * wide >= bar.left &&
        (column + 1) * wide <= bar.left + bar.width &&
        row * tall >= bar.top &&
        (row + 1) * tall <= bar.top + bar.height &&
        !isTexted(column, row)
      )
        regions.push(row * plane.columns + column);
  return regions;
}

/** The bars without what lies that near to the picture. */
function awayFrom({ proof, width, height }: Outcome): Rectangle[] {
  const { window } = proof.framing;
  const inset = proof.framing.inset ?? { left: 0, top: 0 };
  const left = Math.max(0, inset.left - EDGE);
  const top = Math.max(0, inset.top - EDGE);
  return barsOf(
    {
      inset: { left, top },
      window: {
        ...window,
        width: Math.min(width, inset.left + window.width + EDGE) - left,
        height: Math.min(height, inset.top + window.height + EDGE) - top,
      },
    },
    { width, height },
  );
}

/** Of the file's own pictures: means of regions that lie in the bars, apart from the picture's edge. null: there are no bars. */
export function barsOfFile(
  values: Uint16Array | null,
  form: SketchForm | null,
  outcome: Outcome,
): { readonly text: string; readonly faults: readonly Fault[] } | null {
  const bars = barsOf(outcome.proof.framing, outcome);
  if (bars.length === 0) return null;
  const expected = `black around the picture, at most ${BESIDE} steps of 8 bits beside it`;
  if (values === null || form === null)
    return {
      text: 'bars not measured',
      faults: [{ code: CODE, found: 'nothing measured of them', expected }],
    };
  const clear = awayFrom(outcome);
  const numbers = sketchNumbers(form);
  let worst = 0;
  let at = 0;
  let regions = 0;
  for (const [index, plane] of plainPlanes(form).entries()) {
    const black = 256 * (index === 0 ? BLACK.luma : BLACK.chroma);
    const own = clear.flatMap((bar) => regionsIn(bar, plane, outcome));
    regions += own.length;
    for (let first = 0; first + numbers <= values.length; first += numbers)
      for (const region of own) {
        const off = Math.abs((values[first + plane.from + region] as number) - black) / 256;
        if (off > worst) [worst, at] = [off, first / numbers];
      }
  }
  if (regions === 0)
    return {
      text: 'bars too narrow for a mean of their own, held with the rest by picture-error',
      faults: [],
    };
  return {
    text: `${regions} means of the bars, the farthest ${worst.toFixed(2)} steps of 8 bits from black`,
    faults:
      worst <= BESIDE
        ? []
        : [{ code: CODE, found: `${worst.toFixed(2)} steps of 8 bits from black in frame ${at}`, expected }],
  };
}
