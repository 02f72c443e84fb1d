/**
 * The pictures of a segment of a long clip, decoded and seen as those of every file are, where it was made or elsewhere; and all of them as those of the file that is
 * joined from them. What is taken over is tied to that file by its packets: whoever checks it hashes each of them again from the disk.
 */
import { basename, dirname } from 'node:path';
import { openInput } from '../media/input.ts';
import type { MediaTools } from '../process/locate.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { PacketHashes } from '../proof/bitstream.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../proof/form.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import type { FileTextVerdict } from '../proof/text/file-text.ts';
import { joinedFileText } from '../proof/text/joined.ts';
import { decodeWhole } from './decode.ts';
import { maskOf } from './mask.ts';
import type { DecodeFacts } from './measured.ts';
import type { Quantisers } from './quantiser.ts';
import { witnessOf } from './witness.ts';

export interface SeenPictures {
  readonly decode: DecodeFacts;
  readonly picture: FrameFingerprints;
  /** Hashes of every picture, where every sample is kept; else none. */
  readonly exact: Buffer;
  readonly sketch: Uint16Array | null;
  readonly quantisers: Quantisers | null;
  /** What its frames were seen to show; null: no text was asked for. */
  readonly text: FileTextVerdict | null;
  /** As they lie in the file that was decoded. */
  readonly packets: PacketHashes;
}

export interface PicturesRequest {
  readonly outcome: Outcome;
  /** Of what the encoder was given; null: none was taken. */
  readonly sketch: ErrorSketch | null;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly threads: number;
  readonly signal: AbortSignal;
}

/** null: nothing could be measured. Throws when the file cannot be opened, and the signal's reason. */
export async function seePictures(path: string, request: PicturesRequest): Promise<SeenPictures | null> {
  const { outcome, tools, threads, signal } = request;
  const input = await openInput(dirname(path), { kind: 'movie', file: basename(path) });
  const mask = await maskOf(request);
  try {
    const witness = witnessOf({
      outcome,
      fingerprints: null,
      tracks: 0,
      sketched: mask?.sketched ?? null,
      seen: 'pictures',
    });
    const decode = await decodeWhole(input, tools, { threads, signal, witness });
    if (decode === null) return null;
    const { picture, exact, sketch, quantisers, text, packets } = witness.facts();
    return { decode, picture, exact: exact?.pictures ?? Buffer.alloc(0), sketch, quantisers, text, packets };
  } finally {
    await mask?.dispose();
    await input.dispose();
  }
}

function allOf(parts: readonly Uint16Array[]): Uint16Array {
  const all = new Uint16Array(parts.reduce((sum, { length }) => sum + length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}

/** In order; null: of one of them nothing is known, or of some of them more than of others. Pure. */
export function joinedPictures(segments: readonly (SeenPictures | null)[]): SeenPictures | null {
  const seen = segments.filter((one): one is SeenPictures => one !== null);
  const [first] = seen;
  if (first === undefined || seen.length < segments.length) return null;
  const isAlike = seen.every(
    (one) =>
      one.picture.views === first.picture.views &&
      (one.picture.colour === null) === (first.picture.colour === null) &&
      (one.sketch === null) === (first.sketch === null) &&
      (one.quantisers === null) === (first.quantisers === null) &&
      (one.text === null) === (first.text === null) &&
      one.picture.luma.length === one.picture.frames * one.picture.views * CELLS &&
      (one.picture.colour?.length ?? 0) % COLOUR_CELLS === 0,
  );
  if (!isAlike) return null;
  const decodes = seen.map(({ decode }) => decode);
  const failed = decodes.find(({ ended, exitCode }) => ended !== 'exited' || exitCode !== 0);
  const frames = decodes.reduce((sum, one) => sum + one.frames, 0);
  let next = 0;
  const starts = seen.map(({ picture }) => {
    const start = next;
    next += picture.frames;
    return start;
  });
  return {
    decode: {
      frames,
      errors: decodes.flatMap(({ errors }) => errors),
      errorCount: decodes.reduce((sum, { errorCount }) => sum + errorCount, 0),
      exitCode: failed === undefined ? 0 : failed.exitCode,
      ended: failed === undefined ? 'exited' : failed.ended,
    },
    picture: {
      frames: seen.reduce((sum, { picture }) => sum + picture.frames, 0),
      views: first.picture.views,
      luma: allOf(seen.map(({ picture }) => picture.luma)),
      colour:
        first.picture.colour === null ? null : allOf(seen.flatMap(({ picture }) => picture.colour ?? [])),
    },
    exact: Buffer.concat(seen.map(({ exact }) => exact)),
    sketch: first.sketch === null ? null : allOf(seen.flatMap(({ sketch }) => sketch ?? [])),
    quantisers:
      first.quantisers === null
        ? null
        : {
            mean: seen.flatMap(({ quantisers }) => quantisers?.mean ?? []),
            greatest: seen.flatMap(({ quantisers }) => quantisers?.greatest ?? []),
          },
    text: joinedFileText(seen.map(({ text }, at) => ({ start: starts[at] as number, seen: text }))),
    packets: {
      streams: [
        {
          kind: 'v',
          packets: Buffer.concat(
            seen.map(
              ({ packets }) => packets.streams.find(({ kind }) => kind === 'v')?.packets ?? Buffer.alloc(0),
            ),
          ),
        },
      ],
    },
  };
}
