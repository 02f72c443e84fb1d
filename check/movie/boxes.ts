/**
 * The boxes of a QuickTime or MP4 file, every one with its place. Media data is never read, and what the index claims is bounded by the
 * size of the file before anything is set aside for it. It shares no code with the library that wrote the file, so that a writer's and a
 * reader's common mistake is seen. Sources: ISO/IEC 14496-12, 4.2 (boxes), 8.5.2 (sample descriptions); QuickTime File Format, "Atoms".
 */
import { type FileHandle, open } from 'node:fs/promises';
import { FileDamage, readAt } from '../../files/bytes.ts';
import { fsPath, printable } from '../../files/names.ts';

export class MovieError extends FileDamage {
  override readonly name = 'MovieError';
}

/** What a track holds, by its handler: `vide`, `soun`, `tmcd`; null outside of tracks, and where none is named. */
export type Handler = string | null;

export interface Box {
  /** Four characters, each a byte. */
  readonly type: string;
  /** Types from the top of the file down; tracks have their number: `moov/trak[2]/tkhd`. */
  readonly path: string;
  readonly handler: Handler;
  /** Bytes of the file: of its header, of its content, and behind it. */
  readonly at: number;
  readonly start: number;
  readonly end: number;
  /** The size field says 0: up to the end of the file. */
  readonly openEnded: boolean;
  readonly children: readonly Box[];
  /** Bytes of its content before its children; all of it where it has none. */
  readonly head: number;
  /** Zero bytes behind its last child. */
  readonly tail: number;
}

/** Bytes of the file that were read, and where the first of them lies. */
export interface Part {
  readonly bytes: Buffer;
  readonly base: number;
}

/** An index larger than this is not one that we wrote: a day of frames with eight audio tracks takes a tenth of it. */
const LARGEST_INDEX_BYTES = 512 * 1024 * 1024;
/** `ftyp`, and what stands in the place of free space: no more of it is looked at. */
const LARGEST_SMALL_BYTES = 4096;
/** Ours have about a hundred, and ten for every audio track. */
const MOST_BOXES = 20_000;
/** On the top of the file. */
const MOST_PARTS = 1000;

const SHORT_HEADER = 8;
const LONG_HEADER = 16;

/** Where, as it is printed. */
export const place = (path: string, at: number): string => `${printable(path)} at byte ${at}`;

interface Header {
  readonly type: string;
  readonly start: number;
  readonly end: number;
  readonly openEnded: boolean;
}

/** Header of the box at byte `at` of the file; `limit` is where its surroundings end. */
function headerAt({ bytes, base }: Part, at: number, limit: number, within: string): Header {
  const here = at - base;
  const there = limit - at;
  if (there < SHORT_HEADER || here + SHORT_HEADER > bytes.length)
    throw new MovieError(`${place(within, at)} has ${there} bytes left, which are no box`);
  const short = bytes.readUInt32BE(here);
  const type = bytes.toString('latin1', here + 4, here + 8);
  if (short === 1 && (there < LONG_HEADER || here + LONG_HEADER > bytes.length))
    throw new MovieError(`${place(`${within}/${type}`, at)} ends within its header`);
  const header = short === 1 ? LONG_HEADER : SHORT_HEADER;
  const size = short === 1 ? Number(bytes.readBigUInt64BE(here + 8)) : short === 0 ? there : short;
  if (size < header || size > there)
    throw new MovieError(`${place(`${within}/${type}`, at)} says ${size} bytes, ${there} are there`);
  return { type, start: at + header, end: at + size, openEnded: short === 0 };
}

/** A path without the numbers of tracks. */
export const kindOfPath = (path: string): string => path.replace(/\[\d+\]/g, '');

const STSD = 'moov/trak/mdia/minf/stbl/stsd';

/** Boxes that hold boxes, by their kind of path, and how many bytes of their own stand before those. */
const containers: ReadonlyMap<string, number> = new Map([
  ['moov', 0],
  ['moov/trak', 0],
  ['moov/trak/edts', 0],
  ['moov/trak/tapt', 0],
  ['moov/trak/tref', 0],
  ['moov/trak/udta', 0],
  ['moov/trak/mdia', 0],
  ['moov/trak/mdia/minf', 0],
  ['moov/trak/mdia/minf/gmhd', 0],
  ['moov/trak/mdia/minf/gmhd/tmcd', 0],
  ['moov/trak/mdia/minf/dinf', 0],
  // 14496-12, 8.7.2 and 8.5.2: version, flags and how many entries.
  ['moov/trak/mdia/minf/dinf/dref', 8],
  ['moov/trak/mdia/minf/stbl', 0],
  [STSD, 8],
  ['moov/udta', 0],
  ['moov/udta/meta', 4],
  ['moov/udta/meta/ilst', 0],
]);

/** QuickTime File Format, "Sound Sample Descriptions": fields behind those of version 0. */
const audioVersions: ReadonlyMap<number, number> = new Map([
  [0, 28],
  [1, 44],
  [2, 64],
]);
const VISUAL_HEAD = 78;
const TIMECODE_HEAD = 26;

/** Bytes of fields in a box that holds boxes behind them; null: it holds none. */
function headOf({ bytes, base }: Part, path: string, handler: Handler, header: Header): number | null {
  const kind = kindOfPath(path);
  const known = containers.get(kind);
  if (known !== undefined) return known;
  if (!kind.startsWith(`${STSD}/`)) return null;
  const parts = kind.slice(STSD.length + 1).split('/');
  if (parts.length > 1) return handler === 'soun' && parts.length === 2 && parts[1] === 'wave' ? 0 : null;
  if (handler === 'vide') return VISUAL_HEAD;
  if (handler === 'tmcd') return TIMECODE_HEAD;
  if (handler !== 'soun') return null;
  const version = header.start - base + 8;
  if (header.end - header.start < 10)
    throw new MovieError(`${place(path, header.start)} ends before its version`);
  const head = audioVersions.get(bytes.readUInt16BE(version));
  if (head === undefined)
    throw new MovieError(
      `${place(path, header.start + 8)}: version ${bytes.readUInt16BE(version)} of an audio description`,
    );
  return head;
}

/** Four zero bytes end some lists of QuickTime; two stand in a timecode description without a name (as ffmpeg writes it). */
function tailOf({ bytes, base }: Part, at: number, end: number): number {
  const left = end - at;
  const here = bytes.subarray(at - base, end - base);
  return (left === 4 || left === 2) && here.every((byte) => byte === 0) ? left : 0;
}

interface Walk {
  readonly part: Part;
  count: number;
}

function childrenOf(
  walk: Walk,
  parent: { readonly path: string; readonly handler: Handler },
  from: number,
  end: number,
): { children: Box[]; tail: number } {
  const headers: { header: Header; at: number }[] = [];
  let at = from;
  let tail = 0;
  while (at < end) {
    tail = tailOf(walk.part, at, end);
    if (tail > 0) break;
    const header = headerAt(walk.part, at, end, parent.path);
    walk.count += 1;
    if (walk.count > MOST_BOXES)
      throw new MovieError(`${place(parent.path, at)}: more than ${MOST_BOXES} boxes`);
    headers.push({ header, at });
    at = header.end;
  }
  const handler = parent.path.endsWith('/mdia') ? handlerOf(walk.part, parent.path, headers) : parent.handler;
  let tracks = 0;
  const children = headers.map(({ header, at: place_ }) => {
    const numbered =
      parent.path === 'moov' && header.type === 'trak' ? `trak[${(tracks += 1)}]` : header.type;
    return boxOf(walk, { path: `${parent.path}/${numbered}`, handler, header, at: place_ });
  });
  return { children, tail };
}

/** 14496-12, 8.4.3: behind version, flags and a field of QuickTime's. */
function handlerOf(
  { bytes, base }: Part,
  path: string,
  headers: readonly { header: Header; at: number }[],
): Handler {
  const found = headers.find(({ header }) => header.type === 'hdlr');
  if (found === undefined) return null;
  const { start, end } = found.header;
  if (end - start < 12)
    throw new MovieError(`${place(`${path}/hdlr`, found.at)} ends before the type of the track`);
  return bytes.toString('latin1', start - base + 8, start - base + 12);
}

function boxOf(
  walk: Walk,
  {
    path,
    handler,
    header,
    at,
  }: { readonly path: string; readonly handler: Handler; readonly header: Header; readonly at: number },
): Box {
  const { type, start, end, openEnded } = header;
  const head = headOf(walk.part, path, handler, header);
  if (head === null)
    return { type, path, handler, at, start, end, openEnded, children: [], head: end - start, tail: 0 };
  if (start + head > end)
    throw new MovieError(`${place(path, at)} ends at byte ${end}, ${start + head} is needed`);
  return {
    type,
    path,
    handler,
    at,
    start,
    end,
    openEnded,
    head,
    ...childrenOf(walk, { path, handler }, start + head, end),
  };
}

export interface BoxFile {
  readonly size: number;
  readonly boxes: readonly Box[];
  /** Of `ftyp`, of every `moov`, and of the beginning of others but media data; by the box. */
  readonly parts: ReadonlyMap<Box, Part>;
}

async function partAt(handle: FileHandle, at: number, length: number): Promise<Part> {
  const bytes = await readAt(handle, at, length);
  if (bytes.length !== length)
    throw new MovieError(`the file ends at byte ${at + bytes.length}, within a box`);
  return { bytes, base: at };
}

async function topBox(
  handle: FileHandle,
  { at, size, indexed }: { readonly at: number; readonly size: number; readonly indexed: boolean },
): Promise<{ box: Box; part: Part | null }> {
  const head = await partAt(handle, at, Math.min(LONG_HEADER, size - at));
  const header = headerAt(head, at, size, 'file');
  const { type, start, end } = header;
  const length = end - start;
  // One index is read; that there is a second one is a fault, whatever it says.
  if (type === 'moov' && !indexed) {
    if (length > LARGEST_INDEX_BYTES) throw new MovieError(`${place(type, at)}: an index of ${length} bytes`);
    const part = await partAt(handle, start, length);
    return { box: boxOf({ part, count: 0 }, { path: type, handler: null, header, at }), part };
  }
  const box = { path: type, handler: null, at, children: [], head: length, tail: 0, ...header };
  if (type === 'mdat') return { box, part: null };
  return { box, part: await partAt(handle, start, Math.min(length, LARGEST_SMALL_BYTES)) };
}

/** Every box of the file, from the first byte to the last. Throws MovieError for what cannot be followed. */
export async function walkBoxes(handle: FileHandle, signal?: AbortSignal): Promise<BoxFile> {
  const { size } = await handle.stat();
  const boxes: Box[] = [];
  const parts = new Map<Box, Part>();
  for (let at = 0; at < size; ) {
    signal?.throwIfAborted();
    if (boxes.length === MOST_PARTS)
      throw new MovieError(`more than ${MOST_PARTS} boxes at the top of the file`);
    const indexed = boxes.some(({ type }) => type === 'moov');
    const { box, part } = await topBox(handle, { at, size, indexed });
    boxes.push(box);
    if (part !== null) parts.set(box, part);
    at = box.end;
  }
  return { size, boxes, parts };
}

export async function withFile<Value>(
  path: string,
  use: (handle: FileHandle) => Promise<Value>,
): Promise<Value> {
  const handle = await open(fsPath(path), 'r');
  try {
    return await use(handle);
  } finally {
    await handle.close();
  }
}
