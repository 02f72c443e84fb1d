import { LEAST_HEIGHT, LEAST_LIKENESS, LEVEL_OFF, type MarksSeen } from '../../proof/text/file-text.ts';
import { luminanceOf } from '../../proof/text/contrast.ts';
import { textFaults } from '../burn-in.ts';
import type { Check } from '../check.ts';

/** Of letters as they are stated, where the transfer says what light that is. */
function lightOf(stated: number, transfer: string | null): string {
  const light = luminanceOf(stated, transfer);
  return light === null ? ` for ${stated}` : ` for ${stated}, which is ${light.toFixed(0)} cd/m²`;
}

const marksText = ({ least, seen, untold }: MarksSeen): string =>
  `watermark seen ${seen} times, at ${least.toFixed(2)} of its height or more${untold === 0 ? '' : `; ${untold} times the picture is too busy to tell it from the file alone, and what the encoder was given says it`}`;

/** Every frame of the file shows the words that it must, read by our own code from the decoded picture: no source is needed. */
export const burnIn: Check = {
  name: 'burn-in',
  rests: ['decode'],
  run: ({ measured: { witness }, outcome }) => {
    const { burnIn: texts, frames } = outcome;
    if (texts.length === 0)
      return { measured: 'no text in the picture', expected: 'none, by the profile', faults: [] };
    const seen = witness?.text ?? null;
    if (seen === null) return null;
    return {
      measured: [
        `${seen.characters} characters of ${texts.length} ${texts.length === 1 ? 'text' : 'texts'} in ${seen.frames} frames`,
        ...(seen.least === null
          ? []
          : [`a likeness of ${seen.least.toFixed(2)} at least to the words of the frame`]),
        ...(seen.level === null
          ? []
          : [
              `letters of ${seen.level.least.toFixed(1)} to ${seen.level.most.toFixed(1)}${lightOf(seen.level.stated, outcome.colour.transfer)}`,
            ]),
        ...(seen.marks === null ? [] : [marksText(seen.marks)]),
      ].join('; '),
      expected: [
        `the words of each frame: a likeness of ${LEAST_LIKENESS} or more to their picture, nearer than to that of any other character, and of the frames before and behind`,
        `letters as bright as stated, by their inside at most ${100 * LEVEL_OFF.above} % brighter and ${100 * LEVEL_OFF.below} % darker`,
        ...(seen.marks === null
          ? []
          : [
              `a watermark of ${LEAST_HEIGHT} of its stated height or more wherever the picture does not hide it`,
            ]),
      ].join('; '),
      faults: textFaults({ ...seen, looked: seen.characters }, frames, () => 'burn-in-differs'),
    };
  },
};
