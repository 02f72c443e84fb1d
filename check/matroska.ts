/**
 * Our own reading of a Matroska file: head, tracks, tags, and every block by its header. It shares no code with the library
 * that wrote the file, so that a writer's and a reader's common mistake is seen; what it does not understand it refuses.
 * Sources: RFC 8794 (EBML), RFC 9559 (Matroska).
 */
import { type FileHandle, open } from 'node:fs/promises';
import { readAt } from '../files/bytes.ts';
import { fsPath } from '../files/names.ts';
import {
  children,
  type Element,
  elementAt,
  float,
  identifier,
  LONGEST_HEADER,
  MatroskaError,
  numberAt,
  text,
  unsigned,
  VOID,
} from './ebml.ts';

import { describePart, hasChecksum, ebmlHeader, listedParts, type SaidElement } from './matroska-elements.ts';

export { MatroskaError } from './ebml.ts';

/** RFC 9559, 5.1: elements by their names there. */
const ID = {
  ebml: 0x1a45dfa3,
  docType: 0x4282,
  docTypeReadVersion: 0x4285,
  segment: 0x18538067,
  seekHead: 0x114d9b74,
  info: 0x1549a966,
  timestampScale: 0x2ad7b1,
  tracks: 0x1654ae6b,
  trackEntry: 0xae,
  trackNumber: 0xd7,
  trackUid: 0x73c5,
  trackType: 0x83,
  codecId: 0x86,
  codecPrivate: 0x63a2,
  defaultDuration: 0x23e383,
  tags: 0x1254c367,
  tag: 0x7373,
  targets: 0x63c0,
  tagTrackUid: 0x63c5,
  simpleTag: 0x67c8,
  tagName: 0x45a3,
  tagString: 0x4487,
  cluster: 0x1f43b675,
  timestamp: 0xe7,
  simpleBlock: 0xa3,
  blockGroup: 0xa0,
  block: 0xa1,
  cues: 0x1c53bb6b,
  duration: 0x4489,
} as const;

/** The highest version of the form that this was written by. */
const READ_VERSION = 4;
const VIDEO = 1;
/** RFC 9559, 5.1.2.9: nanoseconds a tick where the file does not say. */
const USUAL_SCALE = 1_000_000;
/** A part larger than this is not one that we wrote. */
const LARGEST_PART_BYTES = 1024 ** 3;

export interface MatroskaTrack {
  readonly number: number;
  readonly uid: string;
  /** 1: picture, 2: audio. */
  readonly type: number;
  readonly codecId: string;
  readonly codecPrivate: Buffer | null;
  /** Nanoseconds; null where the track does not say. */
  readonly defaultDuration: number | null;
  /** Time of each block, ticks, in the order of the file. */
  readonly times: readonly number[];
  /** Bytes of the content of each. */
  readonly sizes: readonly number[];
}

export interface MatroskaTag {
  /** Which track it is of; null: of the whole file. */
  readonly track: string | null;
  readonly name: string;
  readonly value: string;
}

export interface Matroska {
  readonly docType: string;
  /** Nanoseconds a tick. */
  readonly timestampScale: number;
  /** Ticks; null where the file does not say. */
  readonly duration: number | null;
  readonly tracks: readonly MatroskaTrack[];
  readonly tags: readonly MatroskaTag[];
  /** Content of the first block of the first picture track; null without one. */
  readonly firstFrame: Buffer | null;
  /** Everything that its parts say; of clusters only what is no usual block. */
  readonly elements: readonly SaidElement[];
  /** Parts in the order of the file, their places counted from the segment's first byte (RFC 9559, 6: positions). */
  readonly parts: readonly MatroskaPart[];
  /** Blocks of the first picture track. */
  readonly pictureBlocks: readonly PictureBlock[];
}

export interface MatroskaPart {
  readonly id: number;
  readonly at: number;
  readonly position: number;
  readonly bytes: number;
  /** Its first element is a checksum of the others. */
  readonly checksum: boolean;
}

export interface PictureBlock {
  readonly track: number;
  readonly time: number;
  /** Of its cluster, and within the cluster's content (RFC 9559, 5.1.5.1.2.3). */
  readonly cluster: number;
  readonly relative: number;
}

async function headerAt(handle: FileHandle, at: number, limit: number): Promise<Element> {
  return elementAt(await readAt(handle, at, Math.min(LONGEST_HEADER, limit - at)), 0, at, limit);
}

/** Children of an element of the file, with the bytes that their places count in. */
async function partOf(
  handle: FileHandle,
  { id, start, end }: Element,
): Promise<{ bytes: Buffer; parts: Element[] }> {
  const length = end - start;
  if (length > LARGEST_PART_BYTES) throw new MatroskaError(`element 0x${id.toString(16)} of ${length} bytes`);
  const bytes = await readAt(handle, start, length);
  if (bytes.length !== length)
    throw new MatroskaError(
      `the file ends at byte ${start + bytes.length}, within element 0x${id.toString(16)}`,
    );
  return { bytes, parts: children(bytes, { start: 0, end: length }) };
}

const child = (parts: readonly Element[], id: number): Element | undefined =>
  parts.find((part) => part.id === id);

function need(parts: readonly Element[], id: number, what: string): Element {
  const found = child(parts, id);
  if (found === undefined) throw new MatroskaError(`no ${what}`);
  return found;
}

type OpenTrack = Omit<MatroskaTrack, 'times' | 'sizes'> & {
  readonly times: number[];
  readonly sizes: number[];
};

function trackOf(bytes: Buffer, entry: Element): OpenTrack {
  const parts = children(bytes, entry);
  const secret = child(parts, ID.codecPrivate);
  const step = child(parts, ID.defaultDuration);
  return {
    number: unsigned(bytes, need(parts, ID.trackNumber, 'track number')),
    uid: identifier(bytes, need(parts, ID.trackUid, 'track identifier')),
    type: unsigned(bytes, need(parts, ID.trackType, 'track type')),
    codecId: text(bytes, need(parts, ID.codecId, 'codec of a track')),
    codecPrivate: secret === undefined ? null : bytes.subarray(secret.start, secret.end),
    defaultDuration: step === undefined ? null : unsigned(bytes, step),
    times: [],
    sizes: [],
  };
}

function tagsOf(bytes: Buffer, parts: readonly Element[]): MatroskaTag[] {
  return parts.flatMap((tag) => {
    if (tag.id !== ID.tag) throw new MatroskaError(`element 0x${tag.id.toString(16)} among the tags`);
    const inside = children(bytes, tag);
    const targets = child(inside, ID.targets);
    const uid = targets === undefined ? undefined : child(children(bytes, targets), ID.tagTrackUid);
    // RFC 9559, 5.1.8.1.1.3: 0 is every track.
    const track = uid === undefined || identifier(bytes, uid) === '0' ? null : identifier(bytes, uid);
    return inside
      .filter(({ id }) => id === ID.simpleTag)
      .map((simple) => {
        const pair = children(bytes, simple);
        const value = child(pair, ID.tagString);
        return {
          track,
          name: text(bytes, need(pair, ID.tagName, 'name of a tag')),
          value: value === undefined ? '' : text(bytes, value),
        };
      });
  });
}

/** RFC 9559, 10.1 and 10.2: track number, 16 bits of time against the cluster's, flags; lacing would put several frames into one block. */
function blockOf(
  bytes: Buffer,
  { start, end }: Element,
): { track: number; time: number; flags: number; content: number } {
  const track = numberAt(bytes, start);
  const at = start + track.width;
  if (at + 3 > end) throw new MatroskaError(`a block of ${end - start} bytes`);
  if (((bytes[at + 2] as number) & 0x06) !== 0) throw new MatroskaError('a block with lacing');
  return { track: track.value, time: bytes.readInt16BE(at), flags: bytes[at + 2] as number, content: at + 3 };
}

interface Reading {
  timestampScale: number;
  duration: number | null;
  tracks: OpenTrack[];
  tags: MatroskaTag[];
  firstFrame: Buffer | null;
  informed: boolean;
  elements: SaidElement[];
  parts: MatroskaPart[];
  pictureBlocks: PictureBlock[];
}

/** RFC 9559, 10.2: a key frame, shown, without lacing. */
const USUAL_FLAGS = 0x80;

interface ClusterPlace {
  /** Of its content in the file, and of the cluster in the segment. */
  readonly start: number;
  readonly position: number;
}

function readCluster(bytes: Buffer, parts: readonly Element[], reading: Reading, place: ClusterPlace): void {
  const unusual = (name: string, { start, end }: Element, value: SaidElement['value'] = null): void => {
    reading.elements.push({
      path: `Cluster/${name}`,
      listed: false,
      at: place.start + start,
      bytes: end - start,
      value,
    });
  };
  const base = unsigned(bytes, need(parts, ID.timestamp, 'time of a cluster'));
  for (const part of parts) {
    const block =
      part.id === ID.blockGroup
        ? need(children(bytes, part), ID.block, 'block in its group')
        : part.id === ID.simpleBlock
          ? part
          : null;
    if (part.id !== ID.simpleBlock && part.id !== ID.timestamp) unusual(`0x${part.id.toString(16)}`, part);
    if (block === null) continue;
    const { track: number, time, flags, content } = blockOf(bytes, block);
    const track = reading.tracks.find((one) => one.number === number);
    if (track === undefined)
      throw new MatroskaError(`a block of track ${number}, which the file does not have`);
    track.times.push(base + time);
    track.sizes.push(block.end - content);
    if (flags !== USUAL_FLAGS) unusual('flags of a block', block, flags);
    if (track.type === VIDEO)
      reading.pictureBlocks.push({
        track: number,
        time: base + time,
        cluster: place.position,
        relative: part.at,
      });
    if (track.type === VIDEO && reading.firstFrame === null)
      reading.firstFrame = Buffer.from(bytes.subarray(content, block.end));
  }
}

async function readPart(
  handle: FileHandle,
  part: Element,
  reading: Reading,
  { at, position }: { readonly at: number; readonly position: number },
): Promise<void> {
  const common = { id: part.id, at, position, bytes: part.end - part.start };
  if (part.id === VOID) {
    reading.parts.push({ ...common, checksum: false });
    return;
  }
  const { bytes, parts } = await partOf(handle, part);
  reading.parts.push({ ...common, checksum: hasChecksum(bytes) });
  const listed = listedParts.get(part.id);
  if (listed !== undefined)
    for (const said of describePart(bytes, part.start, listed)) reading.elements.push(said);
  if (part.id === ID.info) {
    const [scale, duration] = [child(parts, ID.timestampScale), child(parts, ID.duration)];
    reading.informed = true;
    reading.timestampScale = scale === undefined ? USUAL_SCALE : unsigned(bytes, scale);
    reading.duration = duration === undefined ? null : float(bytes, duration);
  } else if (part.id === ID.tracks) {
    if (reading.tracks.length > 0) throw new MatroskaError('two lists of tracks');
    reading.tracks = parts.map((entry) => {
      if (entry.id !== ID.trackEntry)
        throw new MatroskaError(`element 0x${entry.id.toString(16)} among the tracks`);
      return trackOf(bytes, entry);
    });
  } else if (part.id === ID.tags) for (const tag of tagsOf(bytes, parts)) reading.tags.push(tag);
  else if (part.id === ID.cluster) readCluster(bytes, parts, reading, { start: part.start, position });
  // The checksums of both were looked at; what they point at is walked through in any case.
  else if (part.id !== ID.seekHead && part.id !== ID.cues)
    throw new MatroskaError(`element 0x${part.id.toString(16)} in the segment`);
}

/** Reads the whole file, part by part, and looks at every checksum in it. Throws MatroskaError for what cannot be followed. */
export async function readMatroska(path: string, signal?: AbortSignal): Promise<Matroska> {
  const handle = await open(fsPath(path), 'r');
  try {
    const { size } = await handle.stat();
    const head = await headerAt(handle, 0, size);
    if (head.id !== ID.ebml) throw new MatroskaError('no EBML header');
    const { bytes, parts } = await partOf(handle, head);
    const version = child(parts, ID.docTypeReadVersion);
    if (version !== undefined && unsigned(bytes, version) > READ_VERSION)
      throw new MatroskaError(`version ${unsigned(bytes, version)} of the form`);
    const segment = await headerAt(handle, head.end, size);
    if (segment.id !== ID.segment)
      throw new MatroskaError(`element 0x${segment.id.toString(16)} in the place of the segment`);
    if (segment.end !== size) throw new MatroskaError(`${size - segment.end} bytes behind the segment`);
    const reading: Reading = {
      timestampScale: USUAL_SCALE,
      duration: null,
      tracks: [],
      tags: [],
      firstFrame: null,
      informed: false,
      elements: describePart(bytes, head.start, ebmlHeader),
      parts: [],
      pictureBlocks: [],
    };
    for (let at = segment.start; at < segment.end; ) {
      signal?.throwIfAborted();
      const part = await headerAt(handle, at, segment.end);
      await readPart(handle, part, reading, { at, position: at - segment.start });
      at = part.end;
    }
    if (!reading.informed || reading.tracks.length === 0)
      throw new MatroskaError(`no ${reading.informed ? 'tracks' : 'info'}`);
    const { informed: _, ...read } = reading;
    return { docType: text(bytes, need(parts, ID.docType, 'type of document')), ...read };
  } finally {
    await handle.close();
  }
}
