/**
 * Timecode: a label for a frame number (SMPTE ST 12-1). A timecode here is the frame count since 00:00:00:00,
 * the label base (frames counted in one second of label) and whether labels are dropped.
 */
import type { z } from 'zod';
import { type Rate, timecodeBase } from './rate.ts';
import type { timecodeSchema } from './schema.ts';

export type Timecode = z.infer<typeof timecodeSchema>;

/**
 * Labels that do not exist at the start of a minute that is not a tenth: 2 for each 30 of the base
 * (ST 12-1 for 30 and 60, ST 12-3 for 120). 0: the base has no drop-frame.
 */
export function droppedLabels(base: number): number {
  return base === 30 || base === 60 || base === 120 ? base / 15 : 0;
}

/** True for the rates whose labels may drop: 30000/1001 and its multiples, not 30, 60, 120 themselves. */
export function mayDrop(rate: Rate): boolean {
  return rate.den === 1001 && droppedLabels(timecodeBase(rate)) > 0;
}

function requireBase(base: number): void {
  if (!Number.isSafeInteger(base) || base < 1 || base > 240)
    throw new RangeError(`not a label base: ${base}`);
}

function requireDrop(base: number, drop: boolean): void {
  requireBase(base);
  if (drop && droppedLabels(base) === 0)
    throw new RangeError(`no drop-frame at base ${base}; it exists at 30, 60 and 120`);
}

/** Frames from 00:00:00:00 to the next one. */
export function framesPerDay(base: number, drop: boolean): number {
  requireDrop(base, drop);
  // 1440 minutes, of which 144 are tenths and drop nothing.
  return 86_400 * base - (drop ? 1_296 * droppedLabels(base) : 0);
}

const LABEL = /^(\d{2})[:;](\d{2})[:;](\d{2})([:;.,])(\d{2,3})$/;

/**
 * Reads `HH:MM:SS:FF`; `;`, `.` or `,` before the frames mean drop-frame, `:` means none.
 * `at` is the rate, or a bare label base when the rate is not known (then 30 passes for 30000/1001).
 * Throws RangeError for what is no label, and for labels that do not exist: 00:01:00;00 at base 30, frames at or
 * beyond the base, hours at or beyond 24, drop-frame where there is none.
 */
export function parseTimecode(label: string, at: Rate | number): Timecode {
  const base = typeof at === 'number' ? at : timecodeBase(at);
  requireBase(base);
  const parts = LABEL.exec(label);
  if (parts === null)
    throw new RangeError(
      `not a timecode: ${JSON.stringify(label)}; write HH:MM:SS:FF, or HH:MM:SS;FF for drop-frame`,
    );
  const [hours, minutes, seconds, frames] = [parts[1], parts[2], parts[3], parts[5]].map(Number) as [
    number,
    number,
    number,
    number,
  ];
  const drop = parts[4] !== ':';
  if (drop && (typeof at === 'number' ? droppedLabels(base) === 0 : !mayDrop(at))) {
    throw new RangeError(`${label}: drop-frame exists only at 30000/1001 frames a second and its multiples`);
  }
  if (hours > 23) throw new RangeError(`${label}: the day ends at 24 hours`);
  if (minutes > 59 || seconds > 59) throw new RangeError(`${label}: minutes and seconds end at 59`);
  if (frames >= base) throw new RangeError(`${label}: frames end at ${base - 1} at base ${base}`);
  const totalMinutes = 60 * hours + minutes;
  const dropped = drop ? droppedLabels(base) : 0;
  if (seconds === 0 && frames < dropped && minutes % 10 !== 0)
    throw new RangeError(`${label}: drop-frame leaves this label out`);
  const frame =
    (60 * totalMinutes + seconds) * base + frames - dropped * (totalMinutes - Math.floor(totalMinutes / 10));
  return { frame, base, drop };
}

/** `01:00:00:00`, `01:00:00;00` when drop-frame; three frame digits only from frame 100 on. */
export function formatTimecode(timecode: Timecode): string {
  const { base, drop } = timecode;
  let frame = timecode.frame % framesPerDay(base, drop);
  if (drop) {
    const dropped = droppedLabels(base);
    const tenMinutes = 600 * base - 9 * dropped;
    const minute = 60 * base - dropped;
    const rest = frame % tenMinutes;
    // The first minute of ten is whole, so its labels start `dropped` frames early in the count.
    frame +=
      9 * dropped * Math.floor(frame / tenMinutes) +
      (rest >= dropped ? dropped * Math.floor((rest - dropped) / minute) : 0);
  }
  const two = (value: number): string => String(value).padStart(2, '0');
  const seconds = Math.floor(frame / base);
  return `${two(Math.floor(seconds / 3600))}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}${drop ? ';' : ':'}${two(frame % base)}`;
}

/** The label `frames` later (earlier when negative); the day rolls over. */
export function addFrames(timecode: Timecode, frames: number): Timecode {
  const day = framesPerDay(timecode.base, timecode.drop);
  return { ...timecode, frame: (((timecode.frame + frames) % day) + day) % day };
}

export function sameCounting(a: Timecode, b: Timecode): boolean {
  return a.base === b.base && a.drop === b.drop;
}

export function sameTimecode(a: Timecode, b: Timecode): boolean {
  return sameCounting(a, b) && a.frame === b.frame;
}
