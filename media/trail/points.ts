/**
 * The point trail of a master: of every frame, the values of a few pixels as they were decoded, before any transform; and of
 * a few frames many pixels as they must come out, computed by other means. A master is proved by it without its source.
 */
import { createHash } from 'node:crypto';
import { promisify } from 'node:util';
import { deflate, inflate } from 'node:zlib';
import { z } from 'zod';
import { TrailError } from './source-trail.ts';

/** One pixel in each cell of an 8 x 8 grid. */
const SIDE = 8;
export const POINTS = SIDE * SIDE;

export interface Point {
  readonly x: number;
  readonly y: number;
}

/** A mixing of 32 bits after the finaliser of MurmurHash3 (public domain): every bit of the place depends on every bit of the count. */
function mixed(value: number): number {
  let h = value >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

/** Which pixels of frame `frame` are in the trail: another one of every cell in every frame, so that a clip's frames cover the picture. */
export function pointsOf(frame: number, width: number, height: number): Point[] {
  const inCell = (cell: number, side: number, hash: number): number => {
    const from = Math.floor((cell * side) / SIDE);
    const size = Math.max(1, Math.floor(((cell + 1) * side) / SIDE) - from);
    return Math.min(side - 1, from + (hash % size));
  };
  return Array.from({ length: POINTS }, (_, index) => {
    const hash = mixed(frame * POINTS + index);
    return { x: inCell(index % SIDE, width, hash & 0xffff), y: inCell(Math.floor(index / SIDE), height, hash >>> 16) };
  });
}

/** Pixels of a whole frame, computed by other means than those that made the master. */
export interface Spot {
  readonly frame: number;
  readonly pixels: readonly Point[];
  /** R, G, B of each pixel in linear AP0, double precision. */
  readonly light: Float64Array;
}

export interface PointTrail {
  readonly frames: number;
  readonly width: number;
  readonly height: number;
  /** By frame and point, R, G, B: code values of coded pictures (0 to 1), camera values of raw ones. */
  readonly values: Float32Array;
  readonly spots: readonly Spot[];
}

const FORM = Buffer.from('rushlight points 1\n', 'latin1');
const MOST_BYTES = 1024 * 1024 * 1024;
const headerSchema = z.object({
  frames: z.int().nonnegative(),
  width: z.int().positive(),
  height: z.int().positive(),
  spots: z.array(z.object({ frame: z.int().nonnegative(), pixels: z.array(z.tuple([z.int().nonnegative(), z.int().nonnegative()])) })),
});

/** Bytes of equal weight lie together: the signs and exponents of neighbours are alike. */
function apart(bytes: Buffer, size: number): Buffer {
  const count = bytes.length / size;
  const out = Buffer.allocUnsafe(bytes.length);
  for (let at = 0; at < count; at += 1) for (let part = 0; part < size; part += 1) out[part * count + at] = bytes[at * size + part] as number;
  return out;
}

function together(bytes: Buffer, size: number): Buffer {
  const count = bytes.length / size;
  const out = Buffer.alloc(bytes.length);
  for (let at = 0; at < count; at += 1) for (let part = 0; part < size; part += 1) out[at * size + part] = bytes[part * count + at] as number;
  return out;
}

/** Little-endian on every machine that Node runs on for which this is built. */
const bytesOf = (values: Float32Array | Float64Array): Buffer => Buffer.from(values.buffer, values.byteOffset, values.byteLength);

export async function pointFile(trail: PointTrail): Promise<{ readonly bytes: Buffer; readonly digest: string }> {
  const header: z.input<typeof headerSchema> = { frames: trail.frames, width: trail.width, height: trail.height, spots: trail.spots.map(({ frame, pixels }) => ({ frame, pixels: pixels.map(({ x, y }) => [x, y]) })) };
  const head = Buffer.from(JSON.stringify(header), 'utf8');
  const length = Buffer.alloc(4);
  length.writeUInt32LE(head.length);
  const body = Buffer.concat([length, head, apart(bytesOf(trail.values), 4), ...trail.spots.map(({ light }) => bytesOf(light))]);
  const packed = await promisify<Buffer, { level: number }, Buffer>(deflate)(body, { level: 6 });
  return { bytes: Buffer.concat([FORM, packed]), digest: createHash('sha256').update(body).digest('hex') };
}

/** Throws TrailError for anything that is not a whole point trail. */
export async function readPoints(bytes: Buffer): Promise<{ readonly trail: PointTrail; readonly digest: string }> {
  if (!bytes.subarray(0, FORM.length).equals(FORM)) throw new TrailError('not a point trail of a version that this program knows');
  let body: Buffer;
  let header: z.output<typeof headerSchema>;
  try {
    body = await promisify<Buffer, { maxOutputLength: number }, Buffer>(inflate)(bytes.subarray(FORM.length), { maxOutputLength: MOST_BYTES });
  } catch (error) {
    throw new TrailError(`it does not unpack: ${(error as Error).message}`);
  }
  let at = 0;
  const take = (count: number): Buffer => {
    if (count < 0 || at + count > body.length) throw new TrailError('it ends too early');
    at += count;
    return body.subarray(at - count, at);
  };
  try {
    header = headerSchema.parse(JSON.parse(take(take(4).readUInt32LE(0)).toString('utf8')));
  } catch (error) {
    throw error instanceof TrailError ? error : new TrailError(`its header: ${(error as Error).message}`);
  }
  const plain = (part: Buffer): ArrayBuffer => new Uint8Array(part).buffer;
  const values = new Float32Array(plain(together(take(4 * 3 * POINTS * header.frames), 4)));
  const spots = header.spots.map(({ frame, pixels }): Spot => ({ frame, pixels: pixels.map(([x, y]) => ({ x, y })), light: new Float64Array(plain(take(8 * 3 * pixels.length))) }));
  if (at !== body.length) throw new TrailError(`${body.length - at} bytes too many`);
  return { trail: { ...header, values, spots }, digest: createHash('sha256').update(body).digest('hex') };
}
