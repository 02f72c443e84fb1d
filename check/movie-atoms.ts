/**
 * Our own reading of a QuickTime or MP4 file's index: brand and timecode track. It shares no code with the library that
 * wrote the file, so that a writer's and a reader's common mistake is seen.
 *
 * Sources: ISO/IEC 14496-12 (boxes, `stsd`, `stsz`, `stco`/`co64`, `elst`); the QuickTime File Format's timecode media:
 * sample description of 34 bytes (flags, time scale, frame duration, number of frames) with an optional `name` atom
 * (source reference), sample = one big-endian 32-bit frame number; flag 0x1 drop-frame, 0x2 24-hour, 0x4 negative
 * times allowed, 0x8 counter.
 */
import { type FileHandle, open } from 'node:fs/promises';
import { FileDamage, readAt } from '../files/bytes.ts';
import { fsPath } from '../files/names.ts';

export interface TimecodeTrack {
  /** Frame number of the first frame in the track's own counting. */
  readonly frame: number;
  readonly base: number;
  readonly drop: boolean;
  /** A counter, not a clock: flag 0x8. */
  readonly counter: boolean;
  readonly timeScale: number;
  readonly frameDuration: number;
  /** Source reference; null without. */
  readonly reel: string | null;
}

export interface MovieAtoms {
  /** Major brand of `ftyp`, with its spaces taken off the end: `qt`, `isom`, `mp42`. */
  readonly brand: string;
  readonly timecodeTracks: readonly TimecodeTrack[];
}

interface Atom {
  readonly type: string;
  /** Of the content, behind the header. */
  readonly start: number;
  readonly end: number;
}

export class MovieAtomsError extends FileDamage {
  constructor(what: string) {
    super(what);
    this.name = 'MovieAtomsError';
  }
}

/** An index larger than this is not one that we wrote. */
const LARGEST_INDEX_BYTES = 512 * 1024 * 1024;

async function readBytes(handle: FileHandle, position: number, length: number): Promise<Buffer> {
  const bytes = await readAt(handle, position, length);
  if (bytes.length !== length)
    throw new MovieAtomsError(`the file ends at byte ${position + bytes.length}, within an atom`);
  return bytes;
}

/** Header of the atom at `at`; `limit` is where its surroundings end. */
function headerAt(bytes: Buffer, at: number, limit: number): Atom {
  if (at + 8 > limit)
    throw new MovieAtomsError(`an atom header at byte ${at} crosses the end of what holds it`);
  const short = bytes.readUInt32BE(at);
  const type = bytes.toString('latin1', at + 4, at + 8);
  // 1: a 64-bit size follows; 0: up to the end.
  if (short === 1 && at + 16 > limit)
    throw new MovieAtomsError(`an atom header at byte ${at} crosses the end of what holds it`);
  const long = short === 1 ? Number(bytes.readBigUInt64BE(at + 8)) : null;
  const header = long === null ? 8 : 16;
  const size = long ?? (short === 0 ? limit - at : short);
  if (size < header || at + size > limit)
    throw new MovieAtomsError(
      `atom ${JSON.stringify(type)} at byte ${at} says ${size} bytes, ${limit - at} are there`,
    );
  return { type, start: at + header, end: at + size };
}

function children(bytes: Buffer, start: number, end: number): Atom[] {
  const found: Atom[] = [];
  let at = start;
  // QuickTime ends some lists with 32 zero bits.
  while (at < end && !(end - at === 4 && bytes.readUInt32BE(at) === 0)) {
    const atom = headerAt(bytes, at, end);
    found.push(atom);
    at = atom.end;
  }
  return found;
}

function child(bytes: Buffer, parent: Atom | undefined, type: string): Atom | undefined {
  return parent === undefined
    ? undefined
    : children(bytes, parent.start, parent.end).find((atom) => atom.type === type);
}

function need(atom: Atom | undefined, type: string): Atom {
  if (atom === undefined) throw new MovieAtomsError(`the timecode track has no ${type}`);
  return atom;
}

/** The end of what an atom must hold. */
function within(atom: Atom, end: number): void {
  if (end > atom.end)
    throw new MovieAtomsError(`atom ${JSON.stringify(atom.type)} ends at byte ${atom.end}, ${end} is needed`);
}

/** Reads `ftyp`, `moov` and the first sample of every timecode track. Throws MovieAtomsError for what cannot be followed. */
export async function readMovieAtoms(path: string): Promise<MovieAtoms> {
  const handle = await open(fsPath(path), 'r');
  try {
    const { size } = await handle.stat();
    let brand: string | null = null;
    let index: Buffer | null = null;
    for (let at = 0; at < size; ) {
      const head = await readBytes(handle, at, Math.min(16, size - at));
      const atom = headerInFile(head, at, size);
      if (atom.type === 'ftyp') brand = (await readBytes(handle, atom.start, 4)).toString('latin1').trimEnd();
      if (atom.type === 'moov') {
        if (atom.end - atom.start > LARGEST_INDEX_BYTES)
          throw new MovieAtomsError(`an index of ${atom.end - atom.start} bytes`);
        index = await readBytes(handle, atom.start, atom.end - atom.start);
      }
      at = atom.end;
    }
    if (brand === null || index === null) throw new MovieAtomsError(`no ${brand === null ? 'ftyp' : 'moov'}`);
    const tracks: TimecodeTrack[] = [];
    for (const track of children(index, 0, index.length).filter((atom) => atom.type === 'trak')) {
      const found = await timecodeTrack(handle, index, track);
      if (found !== null) tracks.push(found);
    }
    return { brand, timecodeTracks: tracks };
  } finally {
    await handle.close();
  }
}

function headerInFile(head: Buffer, at: number, size: number): Atom {
  if (head.length < 8) throw new MovieAtomsError(`${head.length} bytes at the end of the file are no atom`);
  const short = head.readUInt32BE(0);
  if (short === 1 && head.length < 16)
    throw new MovieAtomsError(`the file ends within an atom header at byte ${at}`);
  const header = short === 1 ? 16 : 8;
  const bytes = short === 1 ? Number(head.readBigUInt64BE(8)) : short === 0 ? size - at : short;
  const type = head.toString('latin1', 4, 8);
  if (bytes < header || at + bytes > size)
    throw new MovieAtomsError(
      `atom ${JSON.stringify(type)} at byte ${at} says ${bytes} bytes, ${size - at} are there`,
    );
  return { type, start: at + header, end: at + bytes };
}

async function timecodeTrack(handle: FileHandle, bytes: Buffer, track: Atom): Promise<TimecodeTrack | null> {
  const media = child(bytes, track, 'mdia');
  const handler = child(bytes, media, 'hdlr');
  // Full box: version and flags, then component type, then the subtype that says what the track is.
  if (handler !== undefined) within(handler, handler.start + 12);
  if (handler === undefined || bytes.toString('latin1', handler.start + 8, handler.start + 12) !== 'tmcd')
    return null;
  const table = need(child(bytes, child(bytes, media, 'minf'), 'stbl'), 'stbl');
  const descriptions = need(child(bytes, table, 'stsd'), 'stsd');
  within(descriptions, descriptions.start + 8);
  const [entry] = children(bytes, descriptions.start + 8, descriptions.end);
  if (entry?.type !== 'tmcd') throw new MovieAtomsError('the timecode track has no tmcd sample description');
  // Behind size and type: 6 reserved, data reference u16, reserved u32, then the fields.
  const fields = entry.start + 12;
  within(entry, fields + 14);
  const flags = bytes.readUInt32BE(fields);
  const offset = chunkOffset(bytes, table);
  const sample = (await readBytes(handle, offset, 4)).readUInt32BE(0);
  return {
    frame: sample,
    base: bytes.readUInt8(fields + 12),
    drop: (flags & 0x1) !== 0,
    counter: (flags & 0x8) !== 0,
    timeScale: bytes.readUInt32BE(fields + 4),
    frameDuration: bytes.readUInt32BE(fields + 8),
    reel: sourceReference(bytes, fields + 14, entry.end),
  };
}

/** Where the first sample lies: start of the first chunk. */
function chunkOffset(bytes: Buffer, table: Atom): number {
  for (const [type, width] of [
    ['stco', 4],
    ['co64', 8],
  ] as const) {
    const list = child(bytes, table, type);
    if (list === undefined) continue;
    within(list, list.start + 8);
    if (bytes.readUInt32BE(list.start + 4) === 0) continue;
    within(list, list.start + 8 + width);
    return width === 4 ? bytes.readUInt32BE(list.start + 8) : Number(bytes.readBigUInt64BE(list.start + 8));
  }
  throw new MovieAtomsError('the timecode track has no sample');
}

function sourceReference(bytes: Buffer, start: number, end: number): string | null {
  if (end - start < 12) return null;
  const name = children(bytes, start, end).find((atom) => atom.type === 'name');
  if (name === undefined) return null;
  within(name, name.start + 4);
  const length = bytes.readUInt16BE(name.start);
  return bytes.toString('utf8', name.start + 4, Math.min(name.end, name.start + 4 + length));
}
