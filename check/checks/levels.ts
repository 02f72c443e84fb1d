import type { FindingCode } from '../../findings/registry.ts';
import type { Check, CheckInput, CheckVerdict } from '../check.ts';
import { sketchFormOf } from '../../profiles/outcome/picture-error.ts';
import { barsOfFile } from '../bars.ts';
import { fileLightFaults, worstError } from '../light-levels.ts';
import { statedLight } from '../movie/light.ts';

const codes = {
  range: 'range-wrong',
  matrix: 'matrix-wrong',
  levels: 'levels-differ',
} as const satisfies Record<string, FindingCode>;

/** MaxCLL and MaxFALL, as far as the file's own pictures show them. */
function lightOf({ measured, outcome, pictureError }: CheckInput): {
  text: string;
  faults: CheckVerdict['faults'];
} {
  if (outcome.contentLight === null) return { text: '', faults: [] };
  const said = statedLight(measured.movie);
  const seen = measured.witness?.light ?? null;
  const error = pictureError === null ? null : worstError(pictureError);
  return {
    text: `; MaxCLL ${said?.greatest ?? 'not stated'}, MaxFALL ${said?.average ?? 'not stated'}, of the file's own pixels ${seen?.greatest.toFixed(1) ?? 'none'} and ${seen?.average.toFixed(2) ?? 'none'} cd/m²`,
    faults: fileLightFaults(seen, said, error),
  };
}

/** Levels and colours came out through the profile's own conversion: what the tags say is true of the pictures. */
export const levels: Check = {
  name: 'levels',
  rests: ['decode', 'fingerprints'],
  run: (input) => {
    const {
      compared: { picture },
      outcome,
    } = input;
    if (picture === null) return null;
    const { off, fault, unproven } = picture.levels;
    const expected = outcome.proof.kept
      ? 'as the source has them'
      : `${outcome.colour.matrix} ${outcome.colour.range}, converted from the source`;
    // Frames that are out of place have no colours to compare; the fingerprints say so, and nothing is passed here for it.
    if (off === null)
      return {
        measured: 'no frame in its place to compare',
        expected,
        faults: [{ code: 'levels-differ', found: 'no frame in its place to compare', expected }],
      };
    const faint =
      unproven.length === 0 ? '' : `; too little in the picture to tell ${unproven.join(' and ')}`;
    const light = lightOf(input);
    const bars = barsOfFile(
      input.measured.witness?.sketch ?? null,
      sketchFormOf(outcome, outcome.pixelFormat),
      outcome,
    );
    const around = bars === null ? '' : `; ${bars.text}`;
    const measured = `Y', Cb, Cr off by ${off.map((value) => value.toFixed(2)).join(', ')} steps of 8 bits${faint}${light.text}${around}`;
    return {
      measured: fault === null ? measured : `${measured}: ${fault.found}`,
      expected,
      faults: [
        ...(fault === null ? [] : [{ code: codes[fault.kind], found: fault.found, expected }]),
        ...light.faults,
        ...(bars?.faults ?? []),
      ],
    };
  },
};
