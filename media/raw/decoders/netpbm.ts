/** Pictures as Netpbm stores them: P5 (one sample a pixel) and P6 (three), 16 bits, big end first (netpbm.sourceforge.net, pgm and ppm). */

export interface NetpbmHead {
  readonly samplesPerPixel: 1 | 3;
  readonly width: number;
  readonly height: number;
  /** Highest value that may occur. */
  readonly most: number;
  /** Where the samples start. */
  readonly start: number;
}

/** Longer than any head that holds no essay. */
export const LONGEST_HEAD = 1024;

/** Null when the bytes end before the head does; throws RangeError for what is no such head. */
export function readNetpbmHead(bytes: Buffer): NetpbmHead | null {
  const text = bytes.toString('latin1', 0, LONGEST_HEAD);
  if (!'P5'.startsWith(text.slice(0, 2)) && !'P6'.startsWith(text.slice(0, 2)))
    throw new RangeError(
      `no Netpbm picture of one or three samples: it starts with ${JSON.stringify(text.slice(0, 8))}`,
    );
  // A run of blanks is matched one by one: in a group that repeats, `\s+` would be tried in every way it can be cut.
  const parts =
    /^P([56])(?:\s|#[^\n]*\n)+(\d{1,6})(?:\s|#[^\n]*\n)+(\d{1,6})(?:\s|#[^\n]*\n)+(\d{1,6})\s/.exec(text);
  if (parts === null) {
    if (bytes.length < LONGEST_HEAD) return null;
    throw new RangeError('a Netpbm head that does not end');
  }
  const [width, height, most] = [Number(parts[2]), Number(parts[3]), Number(parts[4])];
  if (width === 0 || height === 0) throw new RangeError(`a Netpbm picture of ${width}x${height}`);
  if (most < 256 || most > 65_535)
    throw new RangeError(`a Netpbm picture of values up to ${most}, 16 bits are wanted`);
  return { samplesPerPixel: parts[1] === '5' ? 1 : 3, width, height, most, start: parts[0].length };
}
