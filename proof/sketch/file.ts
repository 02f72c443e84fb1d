/**
 * An error sketch as it is kept beside the reports. One file: a line that names form and version, then, deflated (RFC 1951 in RFC 1950), a JSON header
 * with its length before it, and the numbers as differences from frame to frame (low bytes, then high bytes).
 *
 * Its name in reports is the SHA-256 of what was deflated: compressors differ, the numbers do not.
 */
import { createHash } from 'node:crypto';
import { promisify } from 'node:util';
import { deflate, inflate } from 'node:zlib';
import { z } from 'zod';
import { FingerprintError } from '../source-fingerprints.ts';
import { type ErrorSketch, sketchNumbers } from './form.ts';
import { MASK_VERSION } from './mask.ts';

export const SKETCH_FORM = Buffer.from('rushlight error sketch 2\n', 'latin1');
const MOST_BYTES = 4 * 1024 ** 3 - 1;

const headerSchema = z.strictObject({
  frames: z.int().nonnegative(),
  width: z.int().positive(),
  height: z.int().positive(),
  pixelFormat: z.string().regex(/^yuvj?4[0-4][0-4]p(?:\d+le)?$/),
  grid: z.strictObject({ columns: z.int().min(1).max(256), rows: z.int().min(1).max(256) }),
  mask: z.strictObject({ version: z.literal(MASK_VERSION), seed: z.string().regex(/^[0-9a-f]{64}$/) }),
  /** Decibels. */
  stated: z.array(z.number()).nullable(),
});

/** Low bytes of all steps, then high bytes: what hardly changes lies together. */
function packed(values: Uint16Array, numbers: number): Buffer {
  const out = Buffer.alloc(2 * values.length);
  for (let at = 0; at < values.length; at += 1) {
    const step = ((values[at] as number) - (at < numbers ? 0 : (values[at - numbers] as number))) & 0xffff;
    out[at] = step & 0xff;
    out[values.length + at] = step >> 8;
  }
  return out;
}

function unpacked(bytes: Buffer, numbers: number): Uint16Array {
  const values = new Uint16Array(bytes.length / 2);
  for (let at = 0; at < values.length; at += 1)
    values[at] =
      ((bytes[at] as number) | ((bytes[values.length + at] as number) << 8)) +
      (at < numbers ? 0 : (values[at - numbers] as number));
  return values;
}

/** `level`: how hard it is packed; 1 for what is read again within the night. */
export async function sketchFile(
  sketch: ErrorSketch,
  level = 6,
): Promise<{ readonly bytes: Buffer /** SHA-256, lower-case hex. */; readonly digest: string }> {
  const { frames, width, height, pixelFormat, grid, seed, stated } = sketch;
  const header: z.input<typeof headerSchema> = {
    frames,
    width,
    height,
    pixelFormat,
    grid: { columns: grid.columns, rows: grid.rows },
    mask: { version: MASK_VERSION, seed },
    stated: stated === null ? null : [...stated],
  };
  const head = Buffer.from(JSON.stringify(header), 'utf8');
  const length = Buffer.alloc(4);
  length.writeUInt32LE(head.length);
  const body = Buffer.concat([length, head, packed(sketch.values, sketchNumbers(sketch))]);
  const compressed = await promisify<Buffer, { level: number }, Buffer>(deflate)(body, { level });
  return {
    bytes: Buffer.concat([SKETCH_FORM, compressed]),
    digest: createHash('sha256').update(body).digest('hex'),
  };
}

/** Throws FingerprintError for anything that is not a whole sketch. `digest`: what it is. */
export async function readSketch(
  bytes: Buffer,
): Promise<{ readonly fingerprints: ErrorSketch; readonly digest: string }> {
  if (!bytes.subarray(0, SKETCH_FORM.length).equals(SKETCH_FORM))
    throw new FingerprintError('not an error sketch of a version that this program knows');
  let body: Buffer;
  try {
    body = await promisify<Buffer, { maxOutputLength: number }, Buffer>(inflate)(
      bytes.subarray(SKETCH_FORM.length),
      {
        maxOutputLength: MOST_BYTES,
      },
    );
  } catch (error) {
    throw new FingerprintError(`it does not unpack: ${(error as Error).message}`);
  }
  const digest = createHash('sha256').update(body).digest('hex');
  if (body.length < 4 || body.length < 4 + body.readUInt32LE(0))
    throw new FingerprintError('it ends too early');
  const end = 4 + body.readUInt32LE(0);
  const { mask, ...header } = headerOf(body.subarray(4, end));
  const numbers = sketchNumbers(header);
  const values = body.subarray(end);
  if (values.length !== 2 * numbers * header.frames)
    throw new FingerprintError(`${values.length} bytes of numbers instead of ${2 * numbers * header.frames}`);
  return { fingerprints: { ...header, seed: mask.seed, values: unpacked(values, numbers) }, digest };
}

function headerOf(bytes: Buffer): z.output<typeof headerSchema> {
  try {
    return headerSchema.parse(JSON.parse(bytes.toString('utf8')));
  } catch (error) {
    throw new FingerprintError(`its header: ${(error as Error).message}`);
  }
}
