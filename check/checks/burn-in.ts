import { LEAST_LIKENESS } from '../../proof/text/file-text.ts';
import { textFaults } from '../burn-in.ts';
import type { Check } from '../check.ts';

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
      measured: `${seen.characters} characters of ${texts.length} ${texts.length === 1 ? 'text' : 'texts'} in ${seen.frames} frames; a likeness of ${seen.least.toFixed(2)} at least to the words of the frame`,
      expected: `the words of each frame: a likeness of ${LEAST_LIKENESS} or more to their picture, nearer than to that of any other character, and of the frames before and behind`,
      faults: textFaults({ ...seen, looked: seen.characters }, frames, () => 'burn-in-differs'),
    };
  },
};
