/**
 * Our own reading of a QuickTime or MP4 file, whole: every box, every field of those that we know, the sample tables, and what the descriptions
 * of picture, audio and timecode say. Nothing is judged here (judge.ts) and media data is not read, but for the one sample of a timecode
 * track and the heads of H.264 and H.265 pictures.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../files/bytes.ts';
import { type Box, type BoxFile, MovieError, type Part, place, walkBoxes, withFile } from './boxes.ts';
import { type Fields, readFields } from './fields.ts';
import { type AvcConfiguration, readAvcConfiguration, refreshAt } from './h264.ts';
import { type HevcConfiguration, type PictureH265, pictureAt, readHevcConfiguration } from './h265.ts';
import { readStreamDescriptor, type StreamDescriptor } from './esds.ts';
import { listedPath, rowOf } from './known.ts';
import type { LayoutName } from './layouts.ts';
import { firstSample, readSamples, type SampleTables } from './samples.ts';
import { type PicturePlace, readPictures } from './walk.ts';

export { MovieError } from './boxes.ts';

export interface TimecodeTrack {
  /** Frame number of the first frame in the track's own counting, and the byte where it lies. */
  readonly frame: number;
  readonly frameAt: number;
  readonly base: number;
  readonly drop: boolean;
  /** A counter, not a clock: flag 0x8. */
  readonly counter: boolean;
  readonly timeScale: number;
  readonly frameDuration: number;
  /** Source reference; null without. */
  readonly reel: string | null;
}

export interface MovieTrack {
  readonly box: Box;
  /** `vide`, `soun`, `tmcd`, or what else the file says. */
  readonly handler: string | null;
  readonly samples: SampleTables | null;
  readonly avc: AvcConfiguration | null;
  readonly hevc: HevcConfiguration | null;
  readonly stream: StreamDescriptor | null;
  readonly timecode: TimecodeTrack | null;
  /** Of H.265: what lies in each sample; null where it was not asked for. */
  readonly pictures: readonly PictureH265[] | null;
  /** Of H.264 and H.265: which pictures begin afresh; null where they were not asked for. */
  readonly refreshes: readonly (boolean | null)[] | null;
}

export interface Movie {
  readonly file: BoxFile;
  /** Major brand of `ftyp`, with its spaces taken off the end: `qt`, `isom`, `mp42`. */
  readonly brand: string;
  readonly index: Box;
  /** Of every box on the list that has fields. */
  readonly fields: ReadonlyMap<Box, Fields>;
  readonly tracks: readonly MovieTrack[];
  /** Identifiers of `uuid` boxes, hexadecimal. */
  readonly uuids: ReadonlyMap<Box, string>;
}

/** Of every timecode track; null where it says nothing that can be read. */
export const timecodeTracks = ({ tracks }: Movie): readonly (TimecodeTrack | null)[] =>
  tracks.filter(({ handler }) => handler === 'tmcd').map(({ timecode }) => timecode);

export interface ReadMovieOptions {
  readonly signal?: AbortSignal;
  /** How many pictures are expected: of a track of H.264 or H.265 with as many, the head of each is read. */
  readonly pictures?: number;
}

const at = (box: Box | undefined, ...types: readonly string[]): Box | undefined =>
  types.reduce<Box | undefined>((found, type) => found?.children.find((child) => child.type === type), box);

export const below = at;

/** The one sample description of a track; undefined without. */
export const entryOf = (track: Box): Box | undefined =>
  at(track, 'mdia', 'minf', 'stbl', 'stsd')?.children[0];

const colourForms: readonly string[] = ['nclc', 'nclx'] satisfies readonly LayoutName[];

function layoutOf(box: Box, { bytes, base }: Part): LayoutName | null {
  const kind = listedPath(box.path);
  if (kind.endsWith('/stsd/entry')) {
    if (box.handler === 'vide') return 'visual';
    if (box.handler === 'tmcd') return 'timecode';
    if (box.handler !== 'soun') return null;
    const version = bytes.readUInt16BE(box.start - base + 8);
    return version === 0 ? 'sound0' : version === 1 ? 'sound1' : 'sound2';
  }
  if (kind.endsWith('/stsd/entry/colr')) {
    const form = bytes.toString('latin1', box.start - base, Math.min(box.start - base + 4, box.end - base));
    return colourForms.includes(form) ? (form as LayoutName) : null;
  }
  return rowOf(box.path)?.layout ?? null;
}

function readAll(boxes: readonly Box[], part: Part, into: Map<Box, Fields>, uuids: Map<Box, string>): void {
  for (const box of boxes) {
    const layout = layoutOf(box, part);
    if (layout !== null) into.set(box, readFields(part, box, layout));
    if (box.type === 'uuid')
      uuids.set(
        box,
        part.bytes.toString('hex', box.start - part.base, Math.min(box.start + 16, box.end) - part.base),
      );
    readAll(box.children, part, into, uuids);
  }
}

async function timecodeOf(
  handle: FileHandle,
  entry: Box | undefined,
  samples: SampleTables | null,
  fields: ReadonlyMap<Box, Fields>,
): Promise<TimecodeTrack | null> {
  const said = entry === undefined ? undefined : fields.get(entry);
  const first = samples === null ? null : firstSample(samples);
  if (entry === undefined || said?.layout !== 'timecode' || first === null) return null;
  const sample = await readAt(handle, first.at, 4);
  if (sample.length < 4 || first.bytes < 4)
    throw new MovieError(
      `${place(entry.path, entry.at)}: a timecode of ${Math.min(sample.length, first.bytes)} bytes`,
    );
  const number = (name: string): number => said.values.get(name)?.value as number;
  const name = entry.children.find(({ type }) => type === 'name');
  const flags = number('flags');
  return {
    frame: sample.readUInt32BE(0),
    frameAt: first.at,
    base: number('base'),
    drop: (flags & 0x1) !== 0,
    counter: (flags & 0x8) !== 0,
    timeScale: number('time scale'),
    frameDuration: number('frame duration'),
    reel:
      name === undefined
        ? null
        : ((fields.get(name)?.values.get('name')?.value as string | undefined) ?? null),
  };
}

async function trackOf(
  handle: FileHandle,
  part: Part,
  track: Box,
  { fields, options }: { readonly fields: ReadonlyMap<Box, Fields>; readonly options: ReadMovieOptions },
): Promise<MovieTrack> {
  const handler = at(track, 'mdia')?.children[0]?.handler ?? null;
  const samples = readSamples(part, at(track, 'mdia', 'minf', 'stbl'));
  const entry = entryOf(track);
  const record = handler === 'vide' ? at(entry, 'avcC') : undefined;
  const descriptor = handler === 'soun' ? (at(entry, 'esds') ?? at(entry, 'wave', 'esds')) : undefined;
  const avc = record === undefined ? null : readAvcConfiguration(part, record);
  const recordOfH265 = handler === 'vide' ? at(entry, 'hvcC') : undefined;
  const hevc = recordOfH265 === undefined ? null : readHevcConfiguration(part, recordOfH265);
  const tables = samples?.sizes.count === options.pictures ? samples : null;
  const each = async <Read>(lengthBytes: number, read: (picture: PicturePlace) => Promise<Read>) =>
    tables === null
      ? null
      : await readPictures({ handle, tables, lengthBytes, signal: options.signal }, read);
  const pictures = hevc === null ? null : await each(hevc.lengthBytes, pictureAt);
  return {
    box: track,
    handler,
    samples,
    avc,
    hevc,
    pictures,
    stream: descriptor === undefined ? null : readStreamDescriptor(part, descriptor),
    timecode: handler === 'tmcd' ? await timecodeOf(handle, entry, samples, fields) : null,
    refreshes:
      avc === null
        ? (pictures?.map(({ refresh }) => refresh) ?? null)
        : await each(avc.lengthBytes, refreshAt),
  };
}

/** Throws MovieError for what cannot be followed, the file system's error, and the signal's reason when stopped. */
export async function readMovie(path: string, options: ReadMovieOptions = {}): Promise<Movie> {
  return await withFile(path, async (handle) => {
    const file = await walkBoxes(handle, options.signal);
    const fields = new Map<Box, Fields>();
    const uuids = new Map<Box, string>();
    for (const [box, part] of file.parts) readAll([box], part, fields, uuids);
    const type = file.boxes.find((box) => box.type === 'ftyp');
    const index = file.boxes.find((box) => box.type === 'moov');
    const part = index === undefined ? undefined : file.parts.get(index);
    if (type === undefined || index === undefined || part === undefined)
      throw new MovieError(`no ${type === undefined ? 'ftyp' : 'moov'}`);
    const tracks: MovieTrack[] = [];
    for (const track of index.children.filter((box) => box.type === 'trak')) {
      options.signal?.throwIfAborted();
      tracks.push(await trackOf(handle, part, track, { fields, options }));
    }
    const brand = String(fields.get(type)?.values.get('major brand')?.value ?? '').trimEnd();
    return { file, brand, index, fields, tracks, uuids };
  });
}
