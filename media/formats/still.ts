/** What one still's header says, and how many bytes the file must have: the common form of all still formats. */
import { FileDamage } from '../../files/bytes.ts';
import type { Rate, Ratio } from '../time/rate.ts';

export const stillFormats = ['dpx', 'exr', 'tiff', 'dng'] as const;
export type StillFormat = (typeof stillFormats)[number];

/** `encoded`: values meant to be looked at or log; `scene-linear`: float light values; `camera-raw`: sensor values. */
export const stillKinds = ['encoded', 'scene-linear', 'camera-raw'] as const;
export type StillKind = (typeof stillKinds)[number];

/** Fields of a time address as stored (ST 12-1): numbers, not yet checked against a rate. */
export interface StoredTimecode {
  readonly hours: number;
  readonly minutes: number;
  readonly seconds: number;
  readonly frames: number;
  readonly drop: boolean;
}

type Point = readonly [x: number, y: number];

/** How OpenEXR stores a picture (exr/source.ts). */
export interface ExrStorage {
  /** How samples lie in the file; `parts`: several, of which the first is read. */
  readonly layout: 'scan-lines' | 'tiles' | 'parts' | 'deep';
  /** Its name, or `number 10` for one that this program has no name for. */
  readonly compression: string;
  /** Of the first part, in the file's order. */
  readonly channels: readonly string[];
  /** Every channel holds whole numbers. */
  readonly wholeNumbers: boolean;
  /** CIE 1931 x, y; null: the file does not state them. */
  readonly chromaticities: {
    readonly red: Point;
    readonly green: Point;
    readonly blue: Point;
    readonly white: Point;
  } | null;
  /** Why ffmpeg makes no picture of it, or a wrong one; null: nothing speaks against it. */
  readonly unread: string | null;
  /** Why our own reader (exr/pixels.ts) makes none; null: it does. */
  readonly notOurs: string | null;
  /** An attribute behind which ffmpeg 5.1 loses its place in the header, with its length; null: none. */
  readonly long: string | null;
  /** Its data window is another than its display window, or that begins elsewhere than at (0, 0). */
  readonly isPlaced: boolean;
}

export interface StillHeader {
  readonly format: StillFormat;
  readonly kind: StillKind;
  readonly width: number;
  readonly height: number;
  readonly pixelAspect: Ratio | null;
  readonly rate: Rate | null;
  readonly timecode: StoredTimecode | null;
  readonly reel: string | null;
  /** Fewest bytes that the file must have for all of its picture; null where the form does not tell. */
  readonly neededBytes: number | null;
  /** Of OpenEXR alone. */
  readonly exr?: ExrStorage;
  /** How the picture lies, by the number of EXIF Orientation; absent: it stands upright, or nobody says anything. */
  readonly orientation?: number;
  /** The same in the file's words, where that is none of the ways in which a picture can lie. */
  readonly lies?: string;
}

/** A header that is none, or says what cannot be. */
export class StillDamage extends FileDamage {
  constructor(message: string) {
    super(message, 'frame-damaged');
    this.name = 'StillDamage';
  }
}

/** Two decimal digits in one byte; null when it holds none. `mask` takes flags off first. */
export function bcd(byte: number, mask: number): number | null {
  const value = byte & mask;
  return value >> 4 > 9 || (value & 15) > 9 ? null : (value >> 4) * 10 + (value & 15);
}

/**
 * Time address from the four bytes hours, minutes, seconds, frames with flags where ST 12-1 has them: drop-frame is
 * bit 6 of the frames. Null when a field is no number (all bits set: not recorded).
 */
export function storedTimecode(
  hours: number,
  minutes: number,
  seconds: number,
  frames: number,
): StoredTimecode | null {
  if (hours === 0xff && minutes === 0xff && seconds === 0xff && frames === 0xff) return null;
  const fields = [bcd(hours, 0x3f), bcd(minutes, 0x7f), bcd(seconds, 0x7f), bcd(frames, 0x3f)];
  const [h, m, s, f] = fields;
  if (
    h === null ||
    m === null ||
    s === null ||
    f === null ||
    h === undefined ||
    m === undefined ||
    s === undefined ||
    f === undefined
  )
    return null;
  return { hours: h, minutes: m, seconds: s, frames: f, drop: (frames & 0x40) !== 0 };
}

/** `HH:MM:SS:FF` or `HH:MM:SS;FF`. */
export function storedLabel(code: StoredTimecode): string {
  const two = (value: number): string => String(value).padStart(2, '0');
  return `${two(code.hours)}:${two(code.minutes)}:${two(code.seconds)}${code.drop ? ';' : ':'}${two(code.frames)}`;
}
