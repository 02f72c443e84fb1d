/** What a pull comes to, for people. Pure. */
import { blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { addFrames, formatTimecode } from '../../media/time/timecode.ts';
import type { PullOrder } from '../pull/order.ts';
import type { Followed } from '../pull/pulling.ts';
import { count } from './words.ts';

/** In one line. */
export function pullText({ cut, handles, file }: PullOrder, { ranges, uses, findings }: Followed): string {
  const frames = ranges.reduce((sum, range) => sum + range.frames, 0);
  const led = uses.filter(({ clip }) => clip !== null).length;
  const clips = new Set(ranges.map(({ roll, clip }) => JSON.stringify([roll, clip]))).size;
  const left = [...cut.left].map(([what, times]) => `left out ${what} (${times})`);
  const held = findings.filter(blocks).length;
  return [
    `pull: ${led} of ${count(uses.length, 'use')} in ${printable(file)} found in the day`,
    `${count(ranges.length, 'range')} of ${count(clips, 'clip')}`,
    `${count(frames, 'frame')} with handles of ${handles}`,
    ...left,
    ...(held === 0 ? [] : [`${count(held, 'finding')} to settle`]),
  ].join(', ');
}

/** With every range: its clip, and which of its frames, by count and by label. */
export function pullPlanText(order: PullOrder, followed: Followed): string {
  const { ranges, record } = followed;
  const lines = ranges.map(({ roll, clip, start, frames }) => {
    const of = record.clips.find((one) => one.roll === roll && one.clip === clip);
    const labels =
      of === undefined
        ? ''
        : `, ${formatTimecode(addFrames(of.start, start))} to ${formatTimecode(addFrames(of.start, start + frames - 1))}`;
    return `  ${printable(roll)}  ${printable(clip)}  frames ${start} to ${start + frames - 1} of ${of?.frames ?? 0}${labels}`;
  });
  return [pullText(order, followed), ...lines].join('\n');
}
