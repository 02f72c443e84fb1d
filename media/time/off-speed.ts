/** Labels of a clip whose frames are played at another rate than they were recorded at. */
import { type Rate, timecodeBase } from './rate.ts';
import { formatTimecode, mayDrop, parseTimecode, sameCounting, type Timecode } from './timecode.ts';

/**
 * The start in labels of `rate`: hours, minutes and seconds are those of the source, and the frame is the part of the second that had gone by, rounded
 * down: floor(frame × base / base of the source). Drop-frame stays where `rate` has it; a label that drop-frame leaves out has a frame field
 * below 2 in 30, and none of those becomes another. From there on every frame has one label more (SMPTE ST 12-1 counting).
 */
export function labelAtRate(source: Timecode, rate: Rate): Timecode {
  const base = timecodeBase(rate);
  const drop = source.drop && mayDrop(rate);
  if (sameCounting(source, { frame: 0, base, drop })) return source;
  const label = formatTimecode(source);
  const [clock, frames] = [label.slice(0, 8), Number(label.slice(9))];
  const field = String(Math.floor((frames * base) / source.base)).padStart(2, '0');
  return parseTimecode(`${clock}${drop ? ';' : ':'}${field}`, rate);
}
