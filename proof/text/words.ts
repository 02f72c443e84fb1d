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

/** `frame`: from 0, of the delivered picture. */
export function wordsOf(words: Words, frame: number): string {
  return words.kind === 'same' ? words.text : burntLabel(addFrames(words.start, frame));
}
