/**
 * What stands in the boxes that we write: the fields of each, in their order, to its last byte. From the standards alone, beside the clause;
 * what is from memory is marked so. Nothing here says what a field must be: expected.ts does.
 */

/**
 * `u8` to `u64`, `i16`: whole numbers, big-endian. `time`: 32 bits, or 64 in version 1. `fixed`: 16.16; `fixed8`: 8.8 with a sign. `text`: four
 * characters. `matrix`: nine numbers, the last column 2.30 (14496-12, 6.2.2). A number: so many bytes, as hexadecimal digits. `pascal`:
 * a text behind its length; `rest`: all that is left, as digits; `words`: all that is left, as a text.
 */
export type Form =
  | 'u8'
  | 'u16'
  | 'i16'
  | 'u24'
  | 'u32'
  | 'i32'
  | 'u64'
  | 'time'
  | 'signed-time'
  | 'fixed'
  | 'fixed8'
  | 'text'
  | 'matrix'
  | 'pascal'
  | 'pascal32'
  | 'words'
  | 'rest'
  | number;
export type Field = readonly [name: string, form: Form];

/** 14496-12, 4.2: of every full box. */
const full = [
  ['version', 'u8'],
  ['flags', 'u24'],
] as const satisfies readonly Field[];
const table = [...full, ['entries', 'u32']] as const satisfies readonly Field[];

/** 14496-12, 8.5.2.2. */
const entry = [
  ['reserved', 6],
  ['data reference', 'u16'],
] as const satisfies readonly Field[];
/** 14496-12, 12.1.3; names of the fields that it leaves undefined are those of the QuickTime File Format, "Video Sample Description". */
const visual = [
  ...entry,
  ['version', 'u16'],
  ['revision', 'u16'],
  ['vendor', 'text'],
  ['temporal quality', 'u32'],
  ['spatial quality', 'u32'],
  ['width', 'u16'],
  ['height', 'u16'],
  ['horizontal resolution', 'fixed'],
  ['vertical resolution', 'fixed'],
  ['data size', 'u32'],
  ['frames a sample', 'u16'],
  ['compressor name', 'pascal32'],
  ['depth', 'u16'],
  ['colour table', 'i16'],
] as const satisfies readonly Field[];
/** QuickTime File Format, "Sound Sample Descriptions", version 0; 14496-12, 12.2.3 has the same places. */
const sound0 = [
  ...entry,
  ['version', 'u16'],
  ['revision', 'u16'],
  ['vendor', 4],
  ['channels', 'u16'],
  ['sample size', 'u16'],
  ['compression', 'i16'],
  ['packet size', 'u16'],
  ['sample rate', 'fixed'],
] as const satisfies readonly Field[];
const sound1 = [
  ...sound0,
  ['samples a packet', 'u32'],
  ['bytes a packet', 'u32'],
  ['bytes a frame', 'u32'],
  ['bytes a sample', 'u32'],
] as const satisfies readonly Field[];
/** The same, version 2. */
const sound2 = [
  ...entry,
  ['version', 'u16'],
  ['revision', 'u16'],
  ['vendor', 4],
  ['always 3', 'u16'],
  ['always 16', 'u16'],
  ['always -2', 'i16'],
  ['always 0', 'u16'],
  ['always 65536', 'u32'],
  ['size of the fields', 'u32'],
  // A number of 64 bits with a floating point, by its digits.
  ['sample rate', 8],
  ['channels', 'u32'],
  ['always 2130706432', 'u32'],
  ['bits a channel', 'u32'],
  ['form of the samples', 'u32'],
  ['bytes a packet', 'u32'],
  ['frames a packet', 'u32'],
] as const satisfies readonly Field[];
/** QuickTime File Format, "Timecode Sample Description". */
const timecode = [
  ...entry,
  ['reserved before the flags', 4],
  ['flags', 'u32'],
  ['time scale', 'u32'],
  ['frame duration', 'u32'],
  ['base', 'u8'],
  ['reserved behind the base', 'u8'],
] as const satisfies readonly Field[];

/** QuickTime File Format, "User Data Text Strings". */
const USER_TEXT = [
  ['length', 'u16'],
  ['language', 'u16'],
  ['text', 'words'],
] as const satisfies readonly Field[];

export const layouts = {
  /** 14496-12, 4.3. */
  ftyp: [
    ['major brand', 'text'],
    ['minor version', 'u32'],
    ['compatible brands', 'rest'],
  ],
  /** 8.2.2. */
  mvhd: [
    ...full,
    ['creation time', 'time'],
    ['modification time', 'time'],
    ['time scale', 'u32'],
    ['duration', 'time'],
    ['rate', 'fixed'],
    ['volume', 'fixed8'],
    ['reserved', 10],
    ['matrix', 'matrix'],
    ['preview, poster, selection', 24],
    ['next track', 'u32'],
  ],
  /** 8.3.2. */
  tkhd: [
    ...full,
    ['creation time', 'time'],
    ['modification time', 'time'],
    ['track', 'u32'],
    ['reserved before the duration', 4],
    ['duration', 'time'],
    ['reserved before the layer', 8],
    ['layer', 'i16'],
    ['alternate group', 'i16'],
    ['volume', 'fixed8'],
    ['reserved before the matrix', 2],
    ['matrix', 'matrix'],
    ['width', 'fixed'],
    ['height', 'fixed'],
  ],
  /** 8.6.6; one entry, whose fields stand here. */
  elst: [...table, ['duration', 'time'], ['media time', 'signed-time'], ['media rate', 'fixed']],
  /** QuickTime File Format, "Track Aperture Mode Dimensions Atom": pixels of the shown picture, and of the coded one. */
  aperture: [...full, ['width', 'fixed'], ['height', 'fixed']],
  'coded aperture': [...full, ['width', 'fixed'], ['height', 'fixed']],
  /** 8.3.3; QuickTime File Format, "Track Reference Atom". */
  reference: [['track', 'u32']],
  /** 8.4.2. */
  mdhd: [
    ...full,
    ['creation time', 'time'],
    ['modification time', 'time'],
    ['time scale', 'u32'],
    ['duration', 'time'],
    ['language', 'u16'],
    ['quality', 'u16'],
  ],
  /** 8.4.3; QuickTime File Format, "Handler Reference Atoms". */
  hdlr: [
    ...full,
    ['component type', 'text'],
    ['handler', 'text'],
    ['manufacturer, flags, mask', 12],
    ['name', 'rest'],
  ],
  /** 12.1.2. */
  vmhd: [...full, ['graphics mode', 'u16'], ['operation colour', 6]],
  /** 12.2.2. */
  smhd: [...full, ['balance', 'fixed8'], ['reserved', 2]],
  /** 8.4.5.2. */
  nmhd: [...full],
  /** QuickTime File Format, "Base Media Info Atom". */
  gmin: [...full, ['graphics mode', 'u16'], ['operation colour', 6], ['balance', 'fixed8'], ['reserved', 2]],
  /** The same, "Text Media Information": a matrix. */
  text: [['matrix', 'matrix']],
  /** The same, "Timecode Media Information Atom". */
  tcmi: [
    ...full,
    ['font', 'u16'],
    ['face', 'u16'],
    ['size', 'u16'],
    ['reserved', 2],
    ['letters', 6],
    ['ground', 6],
    ['font name', 'pascal'],
  ],
  /** 14496-12, 8.7.2. */
  dref: table,
  'url ': full,
  /** 8.5.2. */
  stsd: table,
  visual,
  sound0,
  sound1,
  sound2,
  timecode,
  /** QuickTime File Format, "Timecode Sample Description": the source reference. */
  name: [
    ['length', 'u16'],
    ['language', 'u16'],
    ['name', 'words'],
  ],
  /** QuickTime File Format, "User Data Atoms". */
  'track name': [['name', 'words']],
  userText: USER_TEXT,
  'user-make': USER_TEXT,
  'user-model': USER_TEXT,
  'user-date': USER_TEXT,
  /** QuickTime File Format, "Color Parameter"; 14496-12, 12.1.5. */
  nclc: [
    ['type', 'text'],
    ['primaries', 'u16'],
    ['transfer', 'u16'],
    ['matrix', 'u16'],
  ],
  nclx: [
    ['type', 'text'],
    ['primaries', 'u16'],
    ['transfer', 'u16'],
    ['matrix', 'u16'],
    ['range', 'u8'],
  ],
  /** 14496-12, 12.1.4. */
  pasp: [
    ['horizontal spacing', 'u32'],
    ['vertical spacing', 'u32'],
  ],
  /** QuickTime File Format, "Field Handling". */
  fiel: [
    ['fields', 'u8'],
    ['order', 'u8'],
  ],
  /** 14496-12, 8.5.2.2. */
  btrt: [
    ['buffer', 'u32'],
    ['most bits a second', 'u32'],
    ['mean bits a second', 'u32'],
  ],
  /** Registered for the `AVdh` and `AVdn` entries; places from memory of ffmpeg's writer (libavformat/movenc.c). */
  ACLR: [
    ['identification', 8],
    ['levels', 'u32'],
    ['reserved', 'u32'],
  ],
  ADHR: [
    ['identification', 4],
    ['compression', 'u32'],
    ['reserved', 'u32'],
    ['always 1', 'u32'],
    ['reserved behind', 8],
  ],
  /** QuickTime File Format, "siDecompressionParam Atom": `frma`, `enda`. */
  frma: [['format', 'text']],
  enda: [['little-endian', 'u16']],
  terminator: [],
  /** Core Audio's `AudioChannelLayout`, as the QuickTime File Format has it. */
  chan: [...full, ['layout', 'u32'], ['bitmap', 'u32'], ['descriptions', 'u32']],
  /** In QuickTime's `wave` the compressed form once more: four zero bytes. */
  mp4a: [['reserved', 4]],
  stts: table,
  stss: table,
  ctts: table,
  stsc: table,
  stsz: [...full, ['size of all', 'u32'], ['samples', 'u32']],
  stco: table,
  co64: table,
  /** 14496-12, 8.6.4: behind it a byte for each sample. */
  sdtp: full,
  /** 8.9.3, with the roll distance of 10.1. */
  sgpd: [...full, ['grouping', 'text'], ['size of an entry', 'u32'], ['entries', 'u32'], ['distance', 'i16']],
  /** 8.9.2. */
  sbgp: [...full, ['grouping', 'text'], ['entries', 'u32'], ['samples', 'u32'], ['group', 'u32']],
  /** 8.11.1. */
  meta: full,
} as const satisfies Readonly<Record<string, readonly Field[]>>;

export type LayoutName = keyof typeof layouts;
export type FieldOf<Name extends LayoutName> = Extract<(typeof layouts)[Name][number], Field>[0];

/** Columns of 32 bits, of 64 in `co64`, of the tables whose entries follow their fields. */
export const columns = {
  stts: [4, 4],
  stss: [4],
  ctts: [4, 4],
  stsc: [4, 4, 4],
  stco: [4],
  co64: [8],
} as const satisfies Partial<Record<LayoutName, readonly number[]>>;
export type TableName = keyof typeof columns;
