/**
 * The exact part of fingerprints, for deliverables that keep every sample: SHA-256 of every picture and of every audio track, as
 * ffmpeg's raw forms lay their samples out, taken straight behind the decoder. Kept with the fingerprints, it proves in years to come
 * that what a file decodes to is what the source decoded to; and it is as good against a forger as the statement that binds it.
 */
import type { Readable } from 'node:stream';

/** As ffmpeg's muxers of hashes name it. */
const HASH = 'sha256';
export const HASH_BYTES = 32;

export interface ExactHashes {
  /** In which the pictures' samples were laid out, as ffmpeg names it. */
  readonly pixelFormat: string;
  /** HASH_BYTES for each picture, in order. */
  readonly pictures: Buffer;
  /** By track (of the source, or of the file): SHA-256 of its samples, lower-case hex; null: nobody keeps it, or it was not reported. */
  readonly audioTracks: readonly (string | null)[];
}

/**
 * A chain of an ffmpeg graph from `[<from>]` to `[<to>]`, renumbered so that no clock makes two frames one. `as`: the layout to
 * be hashed. Only samples change places on the way to it, and what is no sample (the padding of four-byte RGB) stays behind.
 */
export function exactTap(from: string, to: string, pixelFormat: string, as: string): string {
  const repacked = pixelFormat === as ? [] : ['scale=flags=bitexact', `format=${as}`];
  return `[${from}]${['settb=1', 'setpts=N', ...repacked].join(',')}[${to}]`;
}

/** Output options, in front of their target: a line for each picture. */
export const pictureHashes = (pad: string): string[] => [
  '-map',
  `[${pad}]`,
  '-fps_mode',
  'passthrough',
  '-c:v',
  'rawvideo',
  '-f',
  'framehash',
  '-hash',
  HASH,
];
/** Output options, in front of their target: one line for all samples of a stream, in the form of `encoder`. */
export const audioHash = (stream: string, encoder: string): string[] => [
  '-map',
  stream,
  '-c:a',
  encoder,
  '-f',
  'hash',
  '-hash',
  HASH,
];

async function textOf(stream: Readable): Promise<string> {
  let text = '';
  for await (const chunk of stream) text += String(chunk);
  return text;
}

/** Reads the lines of the framehash muxer: `stream, dts, pts, duration, size, hash`. A torn line is left out, and then a picture is missing. */
export async function readPictureHashes(stream: Readable): Promise<Buffer> {
  const text = await textOf(stream);
  return Buffer.from(
    [...text.matchAll(/^0,(?: *-?\d+,){4} *([0-9a-f]{64})\n/gm)].map(([, hash]) => hash as string).join(''),
    'hex',
  );
}

/** null: the stream ended before there was a hash. */
export async function readAudioHash(stream: Readable): Promise<string | null> {
  return /^SHA256=([0-9a-f]{64})\n/.exec(await textOf(stream))?.[1] ?? null;
}

export interface OtherPicture {
  readonly frame: number;
  /** A source frame that has these very samples; null: none has. */
  readonly shows: number | null;
}

export interface ExactVerdict {
  /** Pictures hashed, of the source and of the file. */
  readonly source: number;
  readonly output: number;
  /** Pictures that are other than the source's of the same number, in order. */
  readonly others: readonly OtherPicture[];
  /** By track of the file: whether its samples are those of its source track; null where one of the two was not reported. */
  readonly audioTracks: readonly (boolean | null)[];
}

const hashAt = (pictures: Buffer, frame: number): Buffer =>
  pictures.subarray(frame * HASH_BYTES, (frame + 1) * HASH_BYTES);

/** `tracks`: of which source track each track of the file must be. null: hashed in two layouts, which cannot be compared. Pure. */
export function compareExact(
  source: ExactHashes,
  output: ExactHashes,
  tracks: readonly number[],
): ExactVerdict | null {
  if (source.pixelFormat !== output.pixelFormat) return null;
  const counts = { source: source.pictures.length / HASH_BYTES, output: output.pictures.length / HASH_BYTES };
  const others: OtherPicture[] = [];
  let places: Map<string, number> | null = null;
  for (let frame = 0; frame < counts.output; frame += 1) {
    const found = hashAt(output.pictures, frame);
    if (frame < counts.source && found.equals(hashAt(source.pictures, frame))) continue;
    places ??= new Map(
      Array.from({ length: counts.source }, (_, at) => [hashAt(source.pictures, at).toString('hex'), at]),
    );
    others.push({ frame, shows: places.get(found.toString('hex')) ?? null });
  }
  const audioTracks = tracks.map((track, index) => {
    const [ours, theirs] = [source.audioTracks[track] ?? null, output.audioTracks[index] ?? null];
    return ours === null || theirs === null ? null : ours === theirs;
  });
  return { ...counts, others, audioTracks };
}
