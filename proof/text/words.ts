/** The words that a frame must show. */
import { addFrames, formatTimecode, type Timecode } from '../../media/time/timecode.ts';
import type { Words } from './form.ts';

/**
 * A label as it is burnt in: every one as long as the others, so that nothing moves. Its frames have two digits, and three
 * above 100 frames a second.
 */
export function burntLabel(timecode: Timecode): string {
  const label = formatTimecode(timecode);
  const [, before, frames] = /^(.*[:;])(\d+)$/.exec(label) ?? [];
  if (before === undefined || frames === undefined) throw new RangeError(`not a label: ${label}`);
  return before + String(Number(frames)).padStart(frameDigits(timecode.base), '0');
}

/** Digits of the frames in a label. */
export const frameDigits = (base: number): number => Math.max(2, String(base - 1).length);

/** Beyond those digits, and below 0 (a frame before the first), the outermost are lost and the number goes round. */
function frameNumber({ digits }: { readonly digits: number }, number: number): string {
  const all = 10 ** digits;
  return String(((number % all) + all) % all).padStart(digits, '0');
}

/** `frame`: from 0, of the delivered picture. */
export function wordsOf(words: Words, frame: number): string {
  if (words.kind === 'same') return words.text;
  return words.kind === 'timecode'
    ? burntLabel(addFrames(words.start, frame))
    : frameNumber(words, words.start + Math.floor(frame / words.each));
}
