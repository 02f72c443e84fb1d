/** What the encoder says while it runs, as facts: frames that left the decoder, sizes, errors, progress. Pure. */

import { type Ratio, ratio } from '../media/time/rate.ts';

/** Level tags stand at the start, behind the names of who speaks (`-loglevel level`); a file name cannot fake one there. */
const ERROR_LINE = /^(?:\[[^\]]* @ 0x[0-9a-f]+\] )*\[(?:error|fatal|panic)\] (.*)$/;
/** The filter that stands straight behind the decoder. */
const FRAME_LINE =
  /^\[Parsed_showinfo_\d+ @ 0x[0-9a-f]+\] \[info\] n: *\d+ pts: *(-?\d+|NOPTS) .* s:(\d+x\d+) (?:i:([TBP]) )?/;
const CLOCK_LINE = /^\[Parsed_showinfo_\d+ @ 0x[0-9a-f]+\] \[info\] config in time_base: (\d+)\/(\d+),/;
/** What x264 states at its end when it is asked to measure: the mean of the PSNR of all frames, plane by plane. */
const PSNR_LINE =
  /^\[libx264 @ 0x[0-9a-f]+\] \[info\] PSNR Mean Y:([\d.]+|inf) U:([\d.]+|inf) V:([\d.]+|inf) /;
/**
 * What x265 states at its end: the same of its pictures of each kind, and how many those are. Then of all together, which ends it.
 */
const PSNR_OF_KIND =
  /^x265 \[info\]: frame [IPB]: +(\d+), .*PSNR Mean: Y:([\d.]+|inf) U:([\d.]+|inf) V:([\d.]+|inf)/;
const PSNR_END = /^encoded (\d+) frames in /;
const ERRORS_KEPT = 20;

type Psnr = readonly [number, number, number];

export interface Watched {
  /** Frames that left the decoder. */
  decoded: number;
  /** Seconds a tick of the times; null: not reported yet. */
  timeBase: Ratio | null;
  /** Presentation time of each decoded frame; NaN where the decoder gave none. */
  times: number[];
  size: string | null;
  /** The first frame (counted from 0) whose size is not that of the frames before. */
  sizeChange: { frame: number; from: string; to: string } | null;
  /** Of each H.264 encoder in the order of the outputs: decibels of Y', Cb, Cr; Infinity: none was lost. */
  psnr: Psnr[];
  /** The same of each H.265 encoder. */
  psnrOfH265: Psnr[];
  /** Of the H.265 encoder that is stating it: by kind of picture, how many and their mean. */
  psnrOfKinds: { readonly pictures: number; readonly psnr: Psnr }[];
  /** Frames of which the decoder says that their top field is the earlier one, or their bottom field. */
  fields: { top: number; bottom: number };
  errors: string[];
  errorCount: number;
}

export function newWatched(): Watched {
  return {
    decoded: 0,
    timeBase: null,
    times: [],
    size: null,
    sizeChange: null,
    psnr: [],
    psnrOfH265: [],
    psnrOfKinds: [],
    fields: { top: 0, bottom: 0 },
    errors: [],
    errorCount: 0,
  };
}

/**
 * `isEntered`: the file is entered in its middle. What a decoder says there before the first frame that is asked for is of pictures that lean on such as it was not
 * given; they are thrown away, and a decode that came to them in order has its own word on them.
 */
export function watchLine(watched: Watched, line: string, isEntered = false): void {
  const frame = FRAME_LINE.exec(line);
  if (frame !== null) {
    const size = frame[2] as string;
    watched.times.push(frame[1] === 'NOPTS' ? Number.NaN : Number(frame[1]));
    if (watched.size !== null && size !== watched.size)
      watched.sizeChange ??= { frame: watched.decoded, from: watched.size, to: size };
    watched.size = size;
    if (frame[3] === 'T') watched.fields.top += 1;
    if (frame[3] === 'B') watched.fields.bottom += 1;
    watched.decoded += 1;
    return;
  }
  const clock = watched.timeBase === null ? CLOCK_LINE.exec(line) : null;
  if (clock !== null) watched.timeBase = ratio(Number(clock[1]), Number(clock[2]));
  const psnr = PSNR_LINE.exec(line);
  if (psnr !== null) watched.psnr.push(psnrIn(psnr.slice(1)));
  watchH265(watched, line);
  const error = ERROR_LINE.exec(line);
  if (error === null || (isEntered && watched.decoded === 0)) return;
  watched.errorCount += 1;
  if (watched.errors.length < ERRORS_KEPT) watched.errors.push(error[1] as string);
}

function psnrIn([y, cb, cr]: readonly string[]): Psnr {
  const decibels = (text: string | undefined): number =>
    text === 'inf' ? Number.POSITIVE_INFINITY : Number(text);
  return [decibels(y), decibels(cb), decibels(cr)];
}

function watchH265(watched: Watched, line: string): void {
  const kind = PSNR_OF_KIND.exec(line);
  if (kind !== null) watched.psnrOfKinds.push({ pictures: Number(kind[1]), psnr: psnrIn(kind.slice(2)) });
  const end = PSNR_END.exec(line);
  if (end === null) return;
  const kinds = watched.psnrOfKinds;
  const pictures = kinds.reduce((sum, one) => sum + one.pictures, 0);
  watched.psnrOfKinds = [];
  const mean = (plane: 0 | 1 | 2): number =>
    kinds.reduce((sum, one) => sum + (one.pictures * one.psnr[plane]) / pictures, 0);
  // Of an encoder that states less than it encoded nothing is taken.
  if (pictures > 0 && pictures === Number(end[1])) watched.psnrOfH265.push([mean(0), mean(1), mean(2)]);
}

export interface ProgressSign {
  readonly frame: number;
  readonly bytes: number;
}

/** Blocks of `key=value` lines from `-progress`; one sign for each whole block. `total_size` may be `N/A`. */
export function progressReader(onSign: (sign: ProgressSign) => void): (text: string) => void {
  let rest = '';
  let frame = 0;
  let bytes = 0;
  return (text) => {
    const lines = (rest + text).split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) {
      const [key, value] = line.split('=', 2) as [string, string | undefined];
      if (key === 'frame') frame = Number.parseInt(value ?? '', 10) || frame;
      if (key === 'total_size') bytes = Number.parseInt(value ?? '', 10) || bytes;
      if (key === 'progress') onSign({ frame, bytes });
    }
  };
}
