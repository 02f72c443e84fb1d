/** The pictures of a clip that a declared decoder gives: all of them for the frame pool, and a few once more for the spots. */
import { once } from 'node:events';
import { join, resolve } from 'node:path';
import { PassThrough } from 'node:stream';
import type { Job } from '../../ledger/job.ts';
import { runDeclared } from '../../media/raw/decoders/declared/decode.ts';
import { decoderHere, type LoadedDecoder } from '../../media/raw/decoders/declared/programs.ts';
import { PIXEL_BYTES } from '../../media/declaration.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { framePath } from '../../media/raw/sequence.ts';
import { framesBefore } from '../stretch.ts';
import type { FramePool } from './frame-pool.ts';

async function decoderOf({ facts: { declared } }: Job): Promise<LoadedDecoder> {
  if (declared === undefined) throw new RangeError('a clip that no declared decoder takes');
  const here = await decoderHere(declared);
  // Asked before the job was begun, so that it went away since.
  if ('findings' in here)
    throw new DecoderFailed(declared.declared.name, here.findings.map(({ found }) => found).join('; '));
  return here.decoder;
}

const sizeOf = ({ facts: { video } }: Job): { width: number; height: number } => ({
  width: video.width,
  height: video.height,
});

/** Every picture in order; of a movie. */
async function runMovie(
  decoder: LoadedDecoder,
  job: Job,
  { signal, ...run }: { readonly frame: number; readonly frames: number; readonly signal: AbortSignal },
  take: (samples: Buffer, index: number) => Promise<void> | void,
): Promise<void> {
  const { place } = job.clip;
  if (place.kind !== 'movie') throw new RangeError('a movie of frames');
  await runDeclared(
    decoder,
    { path: join(resolve(job.rollFolder), place.file), ...run, size: sizeOf(job), signal },
    take,
  );
}

/** A command that gives one frame at a time is asked for that one alone. */
const isAskedSingly = ({ declared }: LoadedDecoder): boolean =>
  declared.command.some((argument) => argument.includes('{frame}'));

/** Every picture of the job's frames in order; of a movie. A command that gives all of it gives those before and behind as well. */
async function runStretch(
  decoder: LoadedDecoder,
  job: Job,
  signal: AbortSignal,
  take: (samples: Buffer, index: number) => Promise<void> | void,
): Promise<void> {
  const start = framesBefore(job);
  const { count } = job.span;
  if (isAskedSingly(decoder)) {
    await runMovie(decoder, job, { frame: start, frames: count, signal }, take);
    return;
  }
  await runMovie(decoder, job, { frame: 0, frames: job.facts.video.frames, signal }, (samples, index) =>
    index < start || index >= start + count ? undefined : take(samples, index - start),
  );
}

/** Of a clip with a file for each frame. `index`: from 0. */
async function frameOf(
  decoder: LoadedDecoder,
  job: Job,
  index: number,
  signal: AbortSignal,
): Promise<Buffer> {
  const { place } = job.clip;
  if (place.kind !== 'sequence') throw new RangeError('frames of a movie');
  let picture = Buffer.alloc(0);
  await runDeclared(
    decoder,
    {
      path: framePath(job.rollFolder, place, place.first + index),
      frame: place.first + index,
      frames: 1,
      size: sizeOf(job),
      signal,
    },
    (samples) => {
      picture = Buffer.from(samples);
    },
  );
  return picture;
}

/** One program for each frame; as many at once as there are threads to take what they give. */
async function runFrames(
  decoder: LoadedDecoder,
  job: Job,
  { threads, signal }: { readonly threads: number; readonly signal: AbortSignal },
  take: (samples: Buffer) => Promise<void>,
): Promise<void> {
  const over = new AbortController();
  const stop = AbortSignal.any([signal, over.signal]);
  const running: Promise<Buffer>[] = [];
  let next = 0;
  try {
    for (let index = 0; index < job.span.count; index += 1) {
      for (; next < job.span.count && running.length < threads; next += 1) {
        const frame = frameOf(decoder, job, next, stop);
        // Told when its turn comes, unless an earlier one failed.
        frame.catch(() => undefined);
        running.push(frame);
      }
      await take(await (running.shift() as Promise<Buffer>));
    }
  } finally {
    over.abort();
    await Promise.allSettled(running);
  }
}

/** Throws DecoderFailed, what the frame pool throws, and the signal's reason. */
export async function feedDeclared(
  job: Job,
  framePool: Pick<FramePool, 'read'>,
  threads: number,
  signal: AbortSignal,
): Promise<void> {
  const decoder = await decoderOf(job);
  const { width, height } = sizeOf(job);
  const frameBytes = width * height * PIXEL_BYTES[decoder.declared.gives.samples];
  const stream = new PassThrough({ highWaterMark: frameBytes });
  stream.on('error', () => undefined);
  const reading = framePool.read(stream, frameBytes);
  reading.catch(() => undefined);
  const take = async (samples: Buffer): Promise<void> => {
    if (!stream.write(samples)) await Promise.race([once(stream, 'drain'), reading]);
  };
  try {
    if (job.clip.place.kind === 'movie') await runStretch(decoder, job, signal, take);
    else await runFrames(decoder, job, { threads, signal }, take);
    stream.end();
  } catch (error) {
    stream.destroy(error as Error);
    await reading.catch(() => undefined);
    throw error;
  }
  await reading;
}

/** Some pictures, decoded again. A command that gives one frame at a time is asked for these alone, any other for all. Throws as feedDeclared does. */
export async function declaredPictures(
  job: Job,
  frames: readonly number[],
  signal: AbortSignal,
): Promise<ReadonlyMap<number, Buffer>> {
  const decoder = await decoderOf(job);
  const pictures = new Map<number, Buffer>();
  if (job.clip.place.kind === 'sequence') {
    for (const frame of frames) pictures.set(frame, await frameOf(decoder, job, frame, signal));
  } else if (isAskedSingly(decoder)) {
    for (const frame of frames)
      await runMovie(
        decoder,
        job,
        { frame: framesBefore(job) + frame, frames: 1, signal },
        (samples) => void pictures.set(frame, Buffer.from(samples)),
      );
  } else {
    await runStretch(decoder, job, signal, (samples, index) => {
      if (frames.includes(index)) pictures.set(index, Buffer.from(samples));
    });
  }
  return pictures;
}
