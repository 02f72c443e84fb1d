/**
 * The fingerprints of a source as it is kept beside the reports, so that a deliverable can be proved in years to come without
 * the source. One file: a line that names form and version, then, deflated (RFC 1951 in RFC 1950), a JSON header with its
 * length before it, luma and then colour as differences from frame to frame (low bytes, then high bytes), each track's audio, and
 * the hashes of every picture where it has an exact part.
 *
 * Its name in reports is the SHA-256 of what was deflated: compressors differ, the fingerprints do not.
 */
import { createHash } from 'node:crypto';
import { promisify } from 'node:util';
import { deflate, inflate } from 'node:zlib';
import { z } from 'zod';
import { FileDamage } from '../files/bytes.ts';
import type { Ratio } from '../media/time/rate.ts';
import { ratioSchema } from '../media/time/schema.ts';
import { type ExactHashes, HASH_BYTES } from './exact.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints, type Reading } from './form.ts';
import { readingBytes, readingOf } from './reading.ts';
import { readAudioFingerprint, audioFingerprintBytes } from './audio-bytes.ts';
import type { AudioFingerprint } from './audio-fingerprint.ts';

export interface SourceFingerprints {
  readonly picture: FrameFingerprints;
  /** Presentation time of every frame as the decoder gave it, in ticks of `timeBase` (seconds a tick). */
  readonly times: { readonly timeBase: Ratio; readonly ticks: Float64Array };
  /** By track of the source facts; null: no deliverable takes that track. */
  readonly audioTracks: readonly (AudioFingerprint | null)[];
  /** Absent: no deliverable keeps every sample. */
  readonly exact?: ExactHashes;
  /** Of what a master's encoder was fed with: what the threads read of the source's frames, and what its decoder gave. */
  readonly reading?: Reading;
}

export const FINGERPRINTS_FORM = Buffer.from('rushlight frame fingerprints 2\n', 'latin1');
/** Larger than any fingerprints: ten hours at 60 frames a second, both fields. A file that says more is damaged. */
const MOST_BYTES = 4 * 1024 ** 3 - 1;

const headerSchema = z.strictObject({
  frames: z.int().nonnegative(),
  views: z.union([z.literal(1), z.literal(2)]),
  colour: z.boolean(),
  timeBase: ratioSchema,
  first: z.int(),
  /** Steps between neighbours in order, equal ones together: ticks and count. */
  steps: z.array(z.tuple([z.int(), z.int().positive()])),
  audioTracks: z.array(z.int().positive().nullable()),
  exact: z
    .strictObject({
      pixelFormat: z.string(),
      pictures: z.int().nonnegative(),
      audioTracks: z.array(
        z
          .string()
          .regex(/^[0-9a-f]{64}$/)
          .nullable(),
      ),
    })
    .optional(),
  /** Bytes of what the threads read (reading.ts), last in the file. */
  reading: z.int().positive().optional(),
});

export class FingerprintError extends FileDamage {
  override readonly name = 'FingerprintError';
}

function stepsOf(ticks: Float64Array): [number, number][] {
  const steps: [number, number][] = [];
  for (let frame = 1; frame < ticks.length; frame += 1) {
    const step = (ticks[frame] as number) - (ticks[frame - 1] as number);
    const last = steps.at(-1);
    if (last?.[0] === step) last[1] += 1;
    else steps.push([step, 1]);
  }
  return steps;
}

function ticksOf(first: number, steps: readonly (readonly [number, number])[], frames: number): Float64Array {
  const ticks = new Float64Array(frames);
  let time = first;
  let frame = 0;
  if (frames > 0) ticks[frame++] = time;
  for (const [step, count] of steps) {
    for (let index = 0; index < count; index += 1) {
      time += step;
      if (frame >= frames) throw new FingerprintError('more times than frames');
      ticks[frame++] = time;
    }
  }
  if (frame !== frames) throw new FingerprintError(`${frame} times for ${frames} frames`);
  return ticks;
}

/** Low bytes of all differences from frame to frame, then high bytes: what hardly changes lies together. `size`: values of a frame. */
function differencesOf(values: Uint16Array, size: number): Buffer {
  const out = Buffer.alloc(2 * values.length);
  for (let at = 0; at < values.length; at += 1) {
    const step = ((values[at] as number) - (at < size ? 0 : (values[at - size] as number))) & 0xffff;
    out[at] = step & 0xff;
    out[values.length + at] = step >> 8;
  }
  return out;
}

function valuesOf(bytes: Buffer, size: number): Uint16Array {
  const values = new Uint16Array(bytes.length / 2);
  for (let at = 0; at < values.length; at += 1)
    values[at] =
      ((bytes[at] as number) | ((bytes[values.length + at] as number) << 8)) +
      (at < size ? 0 : (values[at - size] as number));
  return values;
}

export interface WrittenFingerprints {
  readonly bytes: Buffer;
  /** SHA-256, lower-case hex. */
  readonly digest: string;
}

/** `level`: how hard it is packed; 1 for what is read again within the night. */
export async function fingerprintFile(
  { picture, times, audioTracks, exact, reading }: SourceFingerprints,
  level = 6,
): Promise<WrittenFingerprints> {
  const read = reading === undefined ? null : readingBytes(reading);
  const tracks = audioTracks.map((audio) => (audio === null ? null : audioFingerprintBytes(audio)));
  const header: z.input<typeof headerSchema> = {
    frames: picture.frames,
    views: picture.views,
    colour: picture.colour !== null,
    timeBase: times.timeBase,
    ...(read === null ? {} : { reading: read.length }),
    first: times.ticks[0] ?? 0,
    steps: stepsOf(times.ticks),
    audioTracks: tracks.map((track) => track?.length ?? null),
    ...(exact === undefined
      ? {}
      : {
          exact: {
            pixelFormat: exact.pixelFormat,
            pictures: exact.pictures.length / HASH_BYTES,
            audioTracks: [...exact.audioTracks],
          },
        }),
  };
  const head = Buffer.from(JSON.stringify(header), 'utf8');
  const length = Buffer.alloc(4);
  length.writeUInt32LE(head.length);
  const body = Buffer.concat([
    length,
    head,
    differencesOf(picture.luma, CELLS * picture.views),
    ...(picture.colour === null ? [] : [differencesOf(picture.colour, 2 * COLOUR_CELLS)]),
    ...tracks.filter((track) => track !== null),
    ...(exact === undefined ? [] : [exact.pictures]),
    ...(read === null ? [] : [read]),
  ]);
  const packed = await promisify<Buffer, { level: number }, Buffer>(deflate)(body, { level });
  return {
    bytes: Buffer.concat([FINGERPRINTS_FORM, packed]),
    digest: createHash('sha256').update(body).digest('hex'),
  };
}

/** Throws FingerprintError for anything that is not whole fingerprints. `digest`: what it is. */
export async function readFingerprints(
  bytes: Buffer,
): Promise<{ readonly fingerprints: SourceFingerprints; readonly digest: string }> {
  if (!bytes.subarray(0, FINGERPRINTS_FORM.length).equals(FINGERPRINTS_FORM))
    throw new FingerprintError('not a frame fingerprints of a version that this program knows');
  let body: Buffer;
  try {
    body = await promisify<Buffer, { maxOutputLength: number }, Buffer>(inflate)(
      bytes.subarray(FINGERPRINTS_FORM.length),
      { maxOutputLength: MOST_BYTES },
    );
  } catch (error) {
    throw new FingerprintError(`it does not unpack: ${(error as Error).message}`);
  }
  const digest = createHash('sha256').update(body).digest('hex');
  let at = 0;
  const take = (count: number): Buffer => {
    if (count < 0 || at + count > body.length) throw new FingerprintError('it ends too early');
    at += count;
    return body.subarray(at - count, at);
  };
  const header = headerOf(take(take(4).readUInt32LE(0)));
  const luma = valuesOf(take(2 * header.frames * header.views * CELLS), header.views * CELLS);
  const chroma = header.colour ? take(2 * 2 * COLOUR_CELLS * header.frames) : null;
  const colour = chroma === null ? null : valuesOf(chroma, 2 * COLOUR_CELLS);
  const audioTracks = header.audioTracks.map((size) => (size === null ? null : audioOf(take(size))));
  const exact =
    header.exact === undefined
      ? {}
      : { exact: { ...header.exact, pictures: take(header.exact.pictures * HASH_BYTES) } };
  const reading = header.reading === undefined ? {} : { reading: storedReading(take(header.reading)) };
  if (at !== body.length) throw new FingerprintError(`${body.length - at} bytes too many`);
  const fingerprints = {
    ...reading,
    picture: { frames: header.frames, views: header.views, luma, colour },
    times: { timeBase: header.timeBase, ticks: ticksOf(header.first, header.steps, header.frames) },
    audioTracks,
    ...exact,
  };
  return { fingerprints, digest };
}

/** Throws FingerprintError for what is not whole. */
export function storedReading(bytes: Buffer): Reading {
  try {
    return readingOf(bytes);
  } catch (error) {
    throw new FingerprintError((error as Error).message);
  }
}

function headerOf(bytes: Buffer): z.output<typeof headerSchema> {
  try {
    return headerSchema.parse(JSON.parse(bytes.toString('utf8')));
  } catch (error) {
    throw new FingerprintError(`its header: ${(error as Error).message}`);
  }
}

function audioOf(bytes: Buffer): AudioFingerprint {
  try {
    return readAudioFingerprint(bytes);
  } catch (error) {
    throw new FingerprintError(`its audio: ${(error as Error).message}`);
  }
}
