/** The words that a frame must show. */
import { addFrames, formatTimecode, type Timecode } from '../../media/time/timecode.ts';
import type { Words } from './form.ts';

/**
 * A label as it is burnt in: every one as long as the others, so that nothing moves. Its frames have as many digits as the highest number
 * of frames in a second, less one, needs: one at 10, two at 24, three at 120.
 */
export function burntLabel(timecode: Timecode): string {
  const label = formatTimecode(timecode);
  const [, before, frames] = /^(.*[:;])(\d+)$/.exec(label) ?? [];
  if (before === undefined || frames === undefined) throw new RangeError(`not a label: ${label}`);
  return before + String(Number(frames)).padStart(String(timecode.base - 1).length, '0');
}

/** `frame`: from 0, of the delivered picture. */
export function wordsOf(words: Words, frame: number): string {
  return words.kind === 'same' ? words.text : burntLabel(addFrames(words.start, frame));
}
