/**
 * The names of colour tags: those that the trade uses for the code points of ITU-T H.273, and what ffmpeg calls the same. Profiles, outcomes, facts
 * and records have these names; ffmpeg's are used where its answers are read and its commands are written, and nowhere else. A test holds
 * the code points against those that ffmpeg's own help lists.
 */

interface CodePoint {
  readonly code: number;
  readonly ffmpeg: string;
}

/** H.273, clause 8.1, Table 2 (ColourPrimaries). */
export const primaries = {
  bt709: { code: 1, ffmpeg: 'bt709' },
  /** BT.470-6 System M. */
  bt470m: { code: 4, ffmpeg: 'bt470m' },
  /** BT.601-7 with 625 lines; BT.470-6 System B, G. */
  'bt601-625': { code: 5, ffmpeg: 'bt470bg' },
  /** BT.601-7 with 525 lines; SMPTE ST 170. */
  'bt601-525': { code: 6, ffmpeg: 'smpte170m' },
  st240: { code: 7, ffmpeg: 'smpte240m' },
  film: { code: 8, ffmpeg: 'film' },
  /** BT.2020-2, BT.2100-2. */
  bt2020: { code: 9, ffmpeg: 'bt2020' },
  /** CIE 1931 XYZ, SMPTE ST 428-1. */
  xyz: { code: 10, ffmpeg: 'smpte428' },
  /** SMPTE RP 431-2. */
  'p3-dci': { code: 11, ffmpeg: 'smpte431' },
  /** SMPTE EG 432-1. */
  'p3-d65': { code: 12, ffmpeg: 'smpte432' },
} as const satisfies Readonly<Record<string, CodePoint>>;

/** H.273, clause 8.2, Table 3 (TransferCharacteristics). */
export const transfers = {
  bt709: { code: 1, ffmpeg: 'bt709' },
  /** Gamma 2.2: BT.470-6 System M. */
  bt470m: { code: 4, ffmpeg: 'bt470m' },
  /** Gamma 2.8: BT.470-6 System B, G. */
  bt470bg: { code: 5, ffmpeg: 'bt470bg' },
  /** BT.601-7 with 525 or 625 lines; SMPTE ST 170. */
  bt601: { code: 6, ffmpeg: 'smpte170m' },
  st240: { code: 7, ffmpeg: 'smpte240m' },
  linear: { code: 8, ffmpeg: 'linear' },
  /** Logarithmic, 100:1. */
  log100: { code: 9, ffmpeg: 'log100' },
  /** Logarithmic, 100 * sqrt(10):1. */
  log316: { code: 10, ffmpeg: 'log316' },
  /** IEC 61966-2-4. */
  xvycc: { code: 11, ffmpeg: 'iec61966-2-4' },
  bt1361: { code: 12, ffmpeg: 'bt1361e' },
  /** IEC 61966-2-1. */
  srgb: { code: 13, ffmpeg: 'iec61966-2-1' },
  /** BT.2020-2, its 10-bit and its 12-bit system. */
  'bt2020-10': { code: 14, ffmpeg: 'bt2020-10' },
  'bt2020-12': { code: 15, ffmpeg: 'bt2020-12' },
  /** SMPTE ST 2084; BT.2100-2, perceptual quantisation. */
  pq: { code: 16, ffmpeg: 'smpte2084' },
  /** SMPTE ST 428-1. */
  st428: { code: 17, ffmpeg: 'smpte428' },
  /** ARIB STD-B67; BT.2100-2, hybrid log-gamma. */
  hlg: { code: 18, ffmpeg: 'arib-std-b67' },
} as const satisfies Readonly<Record<string, CodePoint>>;

/** H.273, clause 8.3, Table 4 (MatrixCoefficients). */
export const matrices = {
  /** The identity: nothing but R'G'B'. */
  rgb: { code: 0, ffmpeg: 'gbr' },
  bt709: { code: 1, ffmpeg: 'bt709' },
  /** Title 47 of the Code of Federal Regulations, 73.682. */
  fcc: { code: 4, ffmpeg: 'fcc' },
  /** The same numbers as `bt601`, under the code point for 625 lines: kept apart, so that a tag comes out as it went in. */
  'bt601-625': { code: 5, ffmpeg: 'bt470bg' },
  bt601: { code: 6, ffmpeg: 'smpte170m' },
  st240: { code: 7, ffmpeg: 'smpte240m' },
  ycgco: { code: 8, ffmpeg: 'ycgco' },
  /** BT.2020-2, non-constant luminance. */
  bt2020: { code: 9, ffmpeg: 'bt2020nc' },
  'bt2020-constant': { code: 10, ffmpeg: 'bt2020c' },
  /** SMPTE ST 2085, Y'D'zD'x. */
  st2085: { code: 11, ffmpeg: 'smpte2085' },
  /** From the chromaticities of the primaries. */
  chromaticity: { code: 12, ffmpeg: 'chroma-derived-nc' },
  'chromaticity-constant': { code: 13, ffmpeg: 'chroma-derived-c' },
  /** BT.2100-2. */
  ictcp: { code: 14, ffmpeg: 'ictcp' },
} as const satisfies Readonly<Record<string, CodePoint>>;

export type Primaries = keyof typeof primaries;
export type Transfer = keyof typeof transfers;
export type Matrix = keyof typeof matrices;

const tables = { primaries, transfer: transfers, matrix: matrices } as const;
type Table = Readonly<Record<string, CodePoint>>;

export type Tag = keyof typeof tables;
/** Every name of a tag, in the order of the code points. */
export const namesOf = (tag: Tag): readonly string[] => Object.keys(tables[tag]);

/** From what ffprobe prints. What is not in the table stays as ffprobe prints it, so that it is seen, and is refused where a known tag is needed. */
export function tagFromFfmpeg(tag: Tag, printed: string): string {
  const table: Table = tables[tag];
  return namesOf(tag).find((name) => table[name]?.ffmpeg === printed) ?? printed;
}

/** For a filter. Throws RangeError for what is not in the table: an unknown word never becomes part of a command. */
export function tagForFfmpeg(tag: Tag, name: string): string {
  const table: Table = tables[tag];
  const found = Object.hasOwn(table, name) ? table[name] : undefined;
  if (found === undefined) throw new RangeError(`no ${tag} of ITU-T H.273 is called ${JSON.stringify(name)}`);
  return found.ffmpeg;
}
