/**
 * How a Matroska file says that its pictures are to be seen, read apart from who makes deliverables of it: Projection of a track (RFC 9559, 5.1.4.1.28.41 and
 * behind it). A rectangular picture whose pitch is 0 is mirrored where its yaw is half a turn, and then turned by its roll, which goes the other way than a clock.
 */
import type { FileHandle } from 'node:fs/promises';
import { children, type Element, elementAt, float, LONGEST_HEADER, MatroskaError, unsigned } from './ebml.ts';

/** As in orientation.ts: a coded point x, y is shown at a x + c y, b x + d y. */
type Columns = readonly [a: number, b: number, c: number, d: number];

export interface MatroskaShape {
  /** `other`: something that is none of the eight ways in which a picture can lie. */
  readonly orientation: Columns | 'other';
  readonly earlierField: 'top' | 'bottom' | null;
}

const EBML = 0x1a45_dfa3;
const SEGMENT = 0x1853_8067;
const TRACKS = 0x1654_ae6b;
const TRACK_ENTRY = 0xae;
const TRACK_TYPE = 0x83;
const VIDEO = 0xe0;
const FIELD_ORDER = 0x9d;
const PROJECTION = 0x7670;
const [KIND, YAW, PITCH, ROLL] = [0x7671, 0x7673, 0x7674, 0x7675];
/** TrackType of pictures, and ProjectionType of such as are flat. */
const [PICTURES, RECTANGULAR] = [1, 0];

/** Tracks of long recordings have some kilobytes; attachments lie elsewhere. */
const MOST = 64 * 2 ** 20;

/** By roll, degrees from -180 to 180. */
const ROLLED: ReadonlyMap<number, Columns> = new Map([
  [0, [1, 0, 0, 1]],
  [90, [0, -1, 1, 0]],
  [180, [-1, 0, 0, -1]],
  [-180, [-1, 0, 0, -1]],
  [-90, [0, 1, -1, 0]],
]);

const childOf = (bytes: Buffer, parent: Pick<Element, 'start' | 'end'>, id: number): Element | undefined =>
  children(bytes, parent).find((one) => one.id === id);

function orientationIn(bytes: Buffer, video: Element): Columns | 'other' {
  const projection = childOf(bytes, video, PROJECTION);
  if (projection === undefined) return [1, 0, 0, 1];
  const angle = (id: number): number => {
    const found = childOf(bytes, projection, id);
    return found === undefined ? 0 : float(bytes, found);
  };
  const kind = childOf(bytes, projection, KIND);
  const [yaw, rolled] = [Math.abs(angle(YAW)), ROLLED.get(angle(ROLL))];
  const isFlat = kind === undefined || unsigned(bytes, kind) === RECTANGULAR;
  if (!isFlat || angle(PITCH) !== 0 || (yaw !== 0 && yaw !== 180) || rolled === undefined) return 'other';
  const [a, b, c, d] = rolled;
  // Columns go the other way before anything is turned.
  return yaw === 0 ? rolled : [0 - a, 0 - b, c, d];
}

/** FieldOrder (RFC 9559, 5.1.4.1.28.3) where order in time and in the file are one; others say nothing here. */
function earlierFieldIn(bytes: Buffer, video: Element): MatroskaShape['earlierField'] {
  const order = childOf(bytes, video, FIELD_ORDER);
  const said = order === undefined ? null : unsigned(bytes, order);
  return said === 1 ? 'top' : said === 6 ? 'bottom' : null;
}

/** Pure. Of the content of Tracks. `stream`: number of the picture's track. null: there is no track of pictures. */
export function shapeInTracks(bytes: Buffer, stream: number): MatroskaShape | null {
  const entries = children(bytes, { start: 0, end: bytes.length }).filter(({ id }) => id === TRACK_ENTRY);
  const isPicture = (entry: Element): boolean => {
    const type = childOf(bytes, entry, TRACK_TYPE);
    return type !== undefined && unsigned(bytes, type) === PICTURES;
  };
  const own = entries[stream];
  const entry = own !== undefined && isPicture(own) ? own : entries.find(isPicture);
  const video = entry === undefined ? undefined : childOf(bytes, entry, VIDEO);
  return video === undefined
    ? null
    : { orientation: orientationIn(bytes, video), earlierField: earlierFieldIn(bytes, video) };
}

async function headerAt(file: FileHandle, at: number, limit: number): Promise<Element> {
  const header = Buffer.alloc(LONGEST_HEADER);
  const { bytesRead } = await file.read(header, 0, LONGEST_HEADER, at);
  return elementAt(header.subarray(0, bytesRead), 0, at, limit);
}

/** The content of Tracks; null: the file is no Matroska. Throws MatroskaError for what cannot be read as far as that. */
async function tracksOf(file: FileHandle, bytes: number): Promise<Buffer | null> {
  const start = Buffer.alloc(4);
  await file.read(start, 0, 4, 0);
  if (start.readUInt32BE(0) !== EBML) return null;
  const head = await headerAt(file, 0, bytes);
  const segment = await headerAt(file, head.end, bytes);
  if (segment.id !== SEGMENT) throw new MatroskaError(`no segment at byte ${head.end}`);
  for (let at = segment.start; at < segment.end; ) {
    const element = await headerAt(file, at, segment.end);
    if (element.id === TRACKS) {
      const size = element.end - element.start;
      if (size > MOST) throw new MatroskaError(`tracks of ${size} bytes`);
      const body = Buffer.alloc(size);
      await file.read(body, 0, size, element.start);
      return body;
    }
    at = element.end;
  }
  return null;
}

/** null: the file says nothing that is read here. */
export async function matroskaShape(
  file: FileHandle,
  bytes: number,
  stream: number,
): Promise<MatroskaShape | null> {
  try {
    const tracks = await tracksOf(file, bytes);
    return tracks === null ? null : shapeInTracks(tracks, stream);
  } catch (error) {
    if (error instanceof MatroskaError) return null;
    throw error;
  }
}
