/**
 * How a file says that its pictures are to be seen, read apart from who makes deliverables of it, and which coded sample a sample of the upright picture is.
 * ISO/IEC 14496-12 (6.2.2 matrices, 8.2.2 `mvhd`, 8.3.2 `tkhd`, 8.4.3 `hdlr`) and the QuickTime file format, which has the same boxes.
 */
import { type FileHandle, open } from 'node:fs/promises';
import { matroskaShape } from './orientation-matroska.ts';

/** A coded point x, y is shown at a x + c y, b x + d y: each 1, 0 or -1. */
export type Orientation = readonly [a: number, b: number, c: number, d: number];
export const UPRIGHT: Orientation = [1, 0, 0, 1];

/** `other`: the file says something that is none of the eight ways in which a picture can lie. */
export type StatedOrientation = Orientation | 'other';

interface Size {
  readonly width: number;
  readonly height: number;
}

/** Movie boxes of long clips have some megabytes. */
const MOST = 256 * 2 ** 20;

interface Box {
  readonly type: string;
  readonly body: Buffer;
}

/** What cannot be read to its end is left out. */
function boxesIn(bytes: Buffer): Box[] {
  const boxes: Box[] = [];
  for (let at = 0; at + 8 <= bytes.length; ) {
    const short = bytes.readUInt32BE(at);
    if (short === 1 && at + 16 > bytes.length) break;
    const header = short === 1 ? 16 : 8;
    const size =
      short === 0 ? bytes.length - at : short === 1 ? Number(bytes.readBigUInt64BE(at + 8)) : short;
    if (size < header || at + size > bytes.length) break;
    boxes.push({
      type: bytes.toString('latin1', at + 4, at + 8),
      body: bytes.subarray(at + header, at + size),
    });
    at += size;
  }
  return boxes;
}

const within = (body: Buffer, type: string): Buffer | undefined =>
  boxesIn(body).find((box) => box.type === type)?.body;

/** a, b, c, d of the nine values at `at`, as whole parts of 65536. */
const matrixAt = (body: Buffer, at: number): number[] =>
  [0, 4, 12, 16].map((offset) => body.readInt32BE(at + offset));

/** Bytes from the version to the matrix: fields before it are longer in version 1. */
const MATRIX = { mvhd: [36, 48], tkhd: [40, 52] } as const;

function statedIn(body: Buffer | undefined, box: keyof typeof MATRIX): number[] {
  const at = body === undefined ? 0 : MATRIX[box][body[0] === 1 ? 1 : 0];
  return body === undefined || body.length < at + 36 ? [65_536, 0, 0, 65_536] : matrixAt(body, at);
}

const isPicture = (track: Buffer): boolean => {
  const handler = within(within(track, 'mdia') ?? Buffer.alloc(0), 'hdlr');
  return handler?.toString('latin1', 8, 12) === 'vide';
};

/** The track of that number, if it is of pictures, else the first of those. */
function pictureTrack(movie: Buffer, stream: number): Buffer | undefined {
  const tracks = boxesIn(movie).flatMap(({ type, body }) => (type === 'trak' ? [body] : []));
  const own = tracks[stream];
  return own !== undefined && isPicture(own) ? own : tracks.find(isPicture);
}

/** Fields of a visual sample entry before its boxes (14496-12, 8.5.2 and 12.1.3), behind its size and type. */
const VISUAL_ENTRY = 78;

/** Pure. Which field is the earlier one, by the `fiel` box of the first sample entry (QTFF, "Field Handling"); null: it does not say. */
export function earlierFieldIn(movie: Buffer, stream: number): 'top' | 'bottom' | null {
  const track = pictureTrack(movie, stream);
  const table = ['mdia', 'minf', 'stbl', 'stsd'].reduce<Buffer | undefined>(
    (body, type) => (body === undefined ? undefined : within(body, type)),
    track,
  );
  const [entry] = table === undefined ? [] : boxesIn(table.subarray(8));
  const fields = entry === undefined ? undefined : within(entry.body.subarray(VISUAL_ENTRY), 'fiel');
  if (fields === undefined || fields[0] !== 2) return null;
  return fields[1] === 1 || fields[1] === 9 ? 'top' : fields[1] === 6 || fields[1] === 14 ? 'bottom' : null;
}

/** Pure. `stream`: number of the picture's track. null: there is no track of pictures. */
export function orientationIn(movie: Buffer, stream: number): StatedOrientation | null {
  const track = pictureTrack(movie, stream);
  if (track === undefined) return null;
  // First as the track says, then as the movie does.
  const [a = 0, b = 0, c = 0, d = 0] = statedIn(within(track, 'tkhd'), 'tkhd');
  const [e = 0, f = 0, g = 0, h = 0] = statedIn(within(movie, 'mvhd'), 'mvhd');
  const sign = (value: number): number => (value > 0 ? 1 : value < 0 ? -1 : 0);
  const turned = [a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h].map(sign);
  const [p = 0, q = 0, r = 0, s = 0] = turned;
  return Math.abs(p * s - q * r) === 1 && p * q === 0 && r * s === 0 ? [p, q, r, s] : 'other';
}

async function movieBox(file: FileHandle, bytes: number): Promise<Buffer | null> {
  const header = Buffer.alloc(16);
  for (let at = 0; at + 8 <= bytes; ) {
    const { bytesRead } = await file.read(header, 0, 16, at);
    if (bytesRead < 8) return null;
    const short = header.readUInt32BE(0);
    const type = header.toString('latin1', 4, 8);
    if (!/^[\x20-\x7e]{4}$/.test(type)) return null;
    const size = short === 0 ? bytes - at : short === 1 ? Number(header.readBigUInt64BE(8)) : short;
    const skipped = short === 1 ? 16 : 8;
    if (size < skipped || at + size > bytes) return null;
    if (type === 'moov') {
      if (size > MOST) return null;
      const body = Buffer.alloc(size - skipped);
      await file.read(body, 0, body.length, at + skipped);
      return body;
    }
    at += size;
  }
  return null;
}

export interface StatedShape {
  /** null: the file says nothing that is read here. */
  readonly orientation: StatedOrientation | null;
  readonly earlierField: 'top' | 'bottom' | null;
}

/** A file that is neither a movie of these boxes nor Matroska, or one without pictures, says nothing. */
export async function statedShape(path: string | Buffer, stream: number): Promise<StatedShape> {
  const file = await open(path, 'r');
  try {
    const { size } = await file.stat();
    const movie = await movieBox(file, size);
    return movie === null
      ? ((await matroskaShape(file, size, stream)) ?? { orientation: null, earlierField: null })
      : { orientation: orientationIn(movie, stream), earlierField: earlierFieldIn(movie, stream) };
  } finally {
    await file.close();
  }
}

export const statedOrientation = async (
  path: string | Buffer,
  stream: number,
): Promise<StatedOrientation | null> => (await statedShape(path, stream)).orientation;

/** TIFF 6.0, tag 274: where the first line and the first column are seen. By number: top and left, top and right, bottom and right, bottom and left; then left and top, and so on. */
const BY_NUMBER: readonly Orientation[] = [
  UPRIGHT,
  [-1, 0, 0, 1],
  [-1, 0, 0, -1],
  [1, 0, 0, -1],
  [0, 1, 1, 0],
  [0, 1, -1, 0],
  [0, -1, -1, 0],
  [0, -1, 1, 0],
];
const ORIENTATION = 274;
const ENTRY = 12;

/** Of the first directory of a TIFF file (TIFF 6.0, section 2), a DNG among them; what it does not say stands upright. */
export function orientationOfTiff(file: Buffer): Orientation {
  const little = file.toString('latin1', 0, 2) === 'II';
  const two = (at: number): number => (little ? file.readUInt16LE(at) : file.readUInt16BE(at));
  const four = (at: number): number => (little ? file.readUInt32LE(at) : file.readUInt32BE(at));
  const first = four(4);
  for (let entry = 0; entry < two(first); entry += 1) {
    const at = first + 2 + ENTRY * entry;
    // A value of 16 bits lies at the beginning of its field.
    if (two(at) === ORIENTATION) return BY_NUMBER[two(at + 8) - 1] ?? UPRIGHT;
  }
  return UPRIGHT;
}

/** SMPTE ST 268-1, Table 2 (as OpenImageIO's libdpx/DPXHeader.h has it): a line runs right, left, or down, up; the lines follow downwards, upwards, or to the right, to the left. */
const IN_DPX: readonly Orientation[] = [
  UPRIGHT,
  [-1, 0, 0, 1],
  [1, 0, 0, -1],
  [-1, 0, 0, -1],
  [0, 1, 1, 0],
  [0, 1, -1, 0],
  [0, -1, 1, 0],
  [0, -1, -1, 0],
];
const DPX_ORIENTATION = 768;
const NOT_SAID = 0xffff;

/** Of a DPX file. */
export function orientationOfDpx(file: Buffer): StatedOrientation {
  const little = file.toString('latin1', 0, 4) === 'XPDS';
  const code = little ? file.readUInt16LE(DPX_ORIENTATION) : file.readUInt16BE(DPX_ORIENTATION);
  return code === NOT_SAID ? UPRIGHT : (IN_DPX[code] ?? 'other');
}

/** Of a numbered frame; null: a form that says nothing of it. Throws what reading throws, and RangeError where the file ends too early. */
export async function orientationOfStill(path: string | Buffer): Promise<StatedOrientation | null> {
  const file = await open(path, 'r');
  try {
    const head = Buffer.alloc(DPX_ORIENTATION + 2);
    await file.read(head, 0, head.length, 0);
    const magic = head.toString('latin1', 0, 4);
    if (magic === 'SDPX' || magic === 'XPDS') return orientationOfDpx(head);
    return magic === 'II*\0' || magic === 'MM\0*' ? orientationOfTiff(await file.readFile()) : null;
  } finally {
    await file.close();
  }
}

/** Of several frames of a clip: what all of them say; frames that say different things say `other`. */
export async function orientationOfStills(
  paths: readonly (string | Buffer)[],
): Promise<StatedOrientation | null> {
  let all: StatedOrientation | null = null;
  for (const [index, path] of paths.entries()) {
    const one = await orientationOfStill(path);
    if (index === 0) all = one;
    else if (String(one) !== String(all)) return 'other';
  }
  return all;
}

export const liesOnItsSide = ([a]: Orientation): boolean => a === 0;

/** Of the coded picture, the sample that is shown at x, y; `coded`: its size. Places are counted from the middle, by halves. */
export function codedPlace(
  [a, b, c, d]: Orientation,
  coded: Size,
  { x, y }: { readonly x: number; readonly y: number },
): { readonly x: number; readonly y: number } {
  const shown = a === 0 ? { width: coded.height, height: coded.width } : coded;
  const [right, down] = [2 * x - (shown.width - 1), 2 * y - (shown.height - 1)];
  return {
    x: (a * right + b * down + coded.width - 1) / 2,
    y: (c * right + d * down + coded.height - 1) / 2,
  };
}

/** Cells of pictures that were seen as they are coded, one picture behind the other, in the order of the upright ones. `shown`: cells of an upright picture. */
export function uprightCells(orientation: Orientation, cells: Uint16Array, shown: Size): Uint16Array {
  const coded = liesOnItsSide(orientation) ? { width: shown.height, height: shown.width } : shown;
  const count = shown.width * shown.height;
  return cells.map((_, at) => {
    const cell = at % count;
    const { x, y } = codedPlace(orientation, coded, {
      x: cell % shown.width,
      y: Math.floor(cell / shown.width),
    });
    return cells[at - cell + y * coded.width + x] as number;
  });
}
