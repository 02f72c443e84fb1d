/** The pixel samples (pixel-samples.ts) as a file. */
import { createHash } from 'node:crypto';
import { promisify } from 'node:util';
import { deflate, inflate } from 'node:zlib';
import { z } from 'zod';
import { POINTS, type PixelSamples, type Spot, sketchKinds } from './pixel-samples.ts';
import { readingBytes } from './reading.ts';
import { FingerprintError, storedReading } from './source-fingerprints.ts';
import { SKETCH_VALUES } from './whole-frame-sketch.ts';

const FORM = Buffer.from('rushlight points 1\n', 'latin1');
const MOST_BYTES = 1024 * 1024 * 1024;
const headerSchema = z.object({
  frames: z.int().nonnegative(),
  width: z.int().positive(),
  height: z.int().positive(),
  spots: z.array(
    z.object({
      frame: z.int().nonnegative(),
      pixels: z.array(z.tuple([z.int().nonnegative(), z.int().nonnegative()])),
    }),
  ),
  /** Bytes of what the threads read (reading.ts), last in the file. */
  reading: z.int().positive().optional(),
  /** Of which kinds there are sketches, before what the threads read. */
  sketches: z.array(z.enum(sketchKinds)).optional(),
});

/** Bytes of equal weight lie together: the signs and exponents of neighbours are alike. */
function apart(bytes: Buffer, size: number): Buffer {
  const count = bytes.length / size;
  const out = Buffer.allocUnsafe(bytes.length);
  for (let at = 0; at < count; at += 1)
    for (let part = 0; part < size; part += 1) out[part * count + at] = bytes[at * size + part] as number;
  return out;
}

function together(bytes: Buffer, size: number): Buffer {
  const count = bytes.length / size;
  const out = Buffer.alloc(bytes.length);
  for (let at = 0; at < count; at += 1)
    for (let part = 0; part < size; part += 1) out[at * size + part] = bytes[part * count + at] as number;
  return out;
}

/** Little-endian on every machine that Node runs on for which this is built. */
const bytesOf = (values: Float32Array | Float64Array): Buffer =>
  Buffer.from(values.buffer, values.byteOffset, values.byteLength);

const wordsOf = (values: Int32Array): Buffer =>
  Buffer.from(values.buffer, values.byteOffset, values.byteLength);

export async function sampleFile(
  fingerprints: PixelSamples,
): Promise<{ readonly bytes: Buffer; readonly digest: string }> {
  const reading = fingerprints.reading === undefined ? null : readingBytes(fingerprints.reading);
  const { sketches = {} } = fingerprints;
  const kinds = sketchKinds.filter((kind) => sketches[kind] !== undefined);
  const header: z.input<typeof headerSchema> = {
    ...(reading === null ? {} : { reading: reading.length }),
    ...(kinds.length === 0 ? {} : { sketches: kinds }),
    frames: fingerprints.frames,
    width: fingerprints.width,
    height: fingerprints.height,
    spots: fingerprints.spots.map(({ frame, pixels }) => ({
      frame,
      pixels: pixels.map(({ x, y }) => [x, y]),
    })),
  };
  const head = Buffer.from(JSON.stringify(header), 'utf8');
  const length = Buffer.alloc(4);
  length.writeUInt32LE(head.length);
  const body = Buffer.concat([
    length,
    head,
    apart(bytesOf(fingerprints.values), 4),
    ...fingerprints.spots.map(({ sceneLinear }) => bytesOf(sceneLinear)),
    ...kinds.map((kind) => apart(wordsOf(sketches[kind] as Int32Array), 4)),
    ...(reading === null ? [] : [reading]),
  ]);
  const packed = await promisify<Buffer, { level: number }, Buffer>(deflate)(body, { level: 6 });
  return { bytes: Buffer.concat([FORM, packed]), digest: createHash('sha256').update(body).digest('hex') };
}

/** Throws FingerprintError for anything that is not whole pixel samples. */
export async function readSamples(
  bytes: Buffer,
): Promise<{ readonly fingerprints: PixelSamples; readonly digest: string }> {
  if (!bytes.subarray(0, FORM.length).equals(FORM))
    throw new FingerprintError('not pixel samples of a version that this program knows');
  let body: Buffer;
  let header: z.output<typeof headerSchema>;
  try {
    body = await promisify<Buffer, { maxOutputLength: number }, Buffer>(inflate)(
      bytes.subarray(FORM.length),
      { maxOutputLength: MOST_BYTES },
    );
  } catch (error) {
    throw new FingerprintError(`it does not unpack: ${(error as Error).message}`);
  }
  let at = 0;
  const take = (count: number): Buffer => {
    if (count < 0 || at + count > body.length) throw new FingerprintError('it ends too early');
    at += count;
    return body.subarray(at - count, at);
  };
  try {
    header = headerSchema.parse(JSON.parse(take(take(4).readUInt32LE(0)).toString('utf8')));
  } catch (error) {
    throw error instanceof FingerprintError
      ? error
      : new FingerprintError(`its header: ${(error as Error).message}`);
  }
  const plain = (part: Buffer): ArrayBuffer => new Uint8Array(part).buffer;
  const values = new Float32Array(plain(together(take(4 * 3 * POINTS * header.frames), 4)));
  const spots = header.spots.map(
    ({ frame, pixels }): Spot => ({
      frame,
      pixels: pixels.map(([x, y]) => ({ x, y })),
      sceneLinear: new Float64Array(plain(take(8 * 3 * pixels.length))),
    }),
  );
  const { reading: length, sketches: kinds = [], ...rest } = header;
  const sketches = Object.fromEntries(
    kinds.map((kind) => [kind, new Int32Array(plain(together(take(4 * SKETCH_VALUES * header.frames), 4)))]),
  );
  const reading = length === undefined ? {} : { reading: storedReading(take(length)) };
  if (at !== body.length) throw new FingerprintError(`${body.length - at} bytes too many`);
  return {
    fingerprints: { ...rest, values, spots, ...reading, ...(kinds.length === 0 ? {} : { sketches }) },
    digest: createHash('sha256').update(body).digest('hex'),
  };
}
