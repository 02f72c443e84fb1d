/**
 * Numbers of the OpenEXR format as the checker knows them, from "OpenEXR File Layout" (openexr.com) alone; the heading of the page
 * stands beside each. Nothing here is shared with the writer: what both took from one place, neither could find wrong.
 */

/** "Magic Number": the first four bytes. */
export const MAGIC = [0x76, 0x2f, 0x31, 0x01] as const;

/** "Version Field": the low byte is the version, two since 2008; single bits above it say what a reader must be able to do. */
export const VERSION = 2;
export const LONG_NAMES = 1 << 10;
/** Forms that are no single part of scan lines, by the bit that says so. */
export const otherForms = [
  { bit: 1 << 9, words: 'tiles' },
  { bit: 1 << 11, words: 'deep samples' },
  { bit: 1 << 12, words: 'several parts' },
] as const;

/** "Attribute Layout": most letters of a name and of a type, by whether the bit for long names is set. */
export const longestName = (version: number): number => ((version & LONG_NAMES) === 0 ? 31 : 255);

/** "Regular Scan Line Blocks": scan lines of one block. The order is that of the numbers (ImfCompression.h), from 0 on. */
export const compressions = [
  { name: 'none', lines: 1 },
  { name: 'rle', lines: 1 },
  { name: 'zips', lines: 1 },
  { name: 'zip', lines: 16 },
  { name: 'piz', lines: 32 },
  { name: 'pxr24', lines: 16 },
  { name: 'b44', lines: 32 },
  { name: 'b44a', lines: 32 },
  { name: 'dwaa', lines: 32 },
  { name: 'dwab', lines: 256 },
] as const;
export type Compression = (typeof compressions)[number]['name'];

/** "Predefined Attribute Types", lineOrder, by number. */
export const lineOrders = ['increasing-y', 'decreasing-y', 'random-y'] as const;
export type LineOrder = (typeof lineOrders)[number];

/** "Predefined Attribute Types", chlist, by number. */
export const sampleKinds = [
  { name: 'uint', bytes: 4 },
  { name: 'half', bytes: 2 },
  { name: 'float', bytes: 4 },
] as const;
export type SampleKind = (typeof sampleKinds)[number]['name'];

/** "Offset Tables": an entry is an unsigned long. "Regular scan line image block layout": y coordinate and size are an int each. */
export const TABLE_ENTRY = 8;
export const BLOCK_HEAD = 8;

/** "Header Attributes (All Files)". */
export const alwaysThere = {
  channels: 'chlist',
  compression: 'compression',
  dataWindow: 'box2i',
  displayWindow: 'box2i',
  lineOrder: 'lineOrder',
  pixelAspectRatio: 'float',
  screenWindowCenter: 'v2f',
  screenWindowWidth: 'float',
} as const;
