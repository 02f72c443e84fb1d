/** The encoder of a movie for grading: one ffmpeg that is fed with finished pictures, watched. Reports what happened as fields; judges nothing. */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import type { Job, MovieMasterWork } from '../../ledger/job.ts';
import { openInput } from '../../media/input.ts';
import { type Bitstream, readBitstream } from '../../proof/bitstream.ts';
import type { MediaTools } from '../../process/locate.ts';
import { type RunResult, runTool } from '../../process/run.ts';
import { masterMovieRecipe } from '../../profiles/recipe/master.ts';
import { maskBytes } from '../../profiles/recipe/sketch.ts';
import { readPictureHashes } from '../../proof/exact.ts';
import { ValueCollector } from '../../proof/collect.ts';
import type { ErrorSketch } from '../../proof/sketch/form.ts';
import { maskSeed } from '../../proof/sketch/mask.ts';
import { COMMON_FFMPEG_FLAGS } from '../make.ts';
import { sketchesOf } from '../sketches.ts';
import { newWatched, progressReader, type Watched, watchLine } from '../watch.ts';

export interface StagedMovieMaster {
  readonly deliverable: MovieMasterWork;
  /** Absolute; a file. */
  readonly staged: string;
}

export interface Encoded {
  readonly run: RunResult;
  /** `decoded`: pictures that it took in. */
  readonly watched: Watched;
  /** What left its encoders. */
  readonly bitstream: Bitstream;
  /** Of what it was given; null: none is taken. */
  readonly sketch: ErrorSketch | null;
  /** Of each picture that it was given, SHA-256, 32 bytes. */
  readonly pictures: Buffer;
}

export interface MasterEncoder {
  /** Waits until the encoder has taken the picture, or has ended: then it takes nothing more, and `end` says why. Never rejects. */
  take(picture: Uint8Array): Promise<void>;
  /** After the last picture. Throws what the runner throws. */
  end(): Promise<Encoded>;
  /** Ends it wherever it is; nothing is reported. */
  stop(): Promise<void>;
}

export interface EncoderRequest {
  readonly job: Job;
  readonly output: StagedMovieMaster;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
}

function latch(): { readonly passed: Promise<void>; readonly open: () => void } {
  let open = (): void => undefined;
  const passed = new Promise<void>((resolve) => {
    open = resolve;
  });
  return { passed, open };
}

export async function startEncoder({
  job,
  output: { deliverable, staged },
  tools,
  threads,
  stallMilliseconds,
  signal,
}: EncoderRequest): Promise<MasterEncoder> {
  const { outcome } = deliverable;
  const maskFolder = await mkdtemp(join(tmpdir(), 'rushlight-mask-'));
  const recipe = masterMovieRecipe({ facts: job.facts, outcome, path: staged, maskFolder, threads });
  const seed = maskSeed(job.clip.contentDigest, deliverable.profileHash);
  if (recipe.mask !== null) await writeFile(recipe.mask.path, maskBytes(seed, recipe.mask));
  const collector = new ValueCollector();
  const clip =
    outcome.audio.length === 0 ? null : await openInput(job.rollFolder, job.clip.place, job.facts.video.rate);
  const given = new AbortController();
  const watched = newWatched();
  let bitstream: Bitstream = { streams: [] };
  let pictures: Buffer = Buffer.alloc(0);
  let touch = (): void => {};
  /** A picture is offered, or there are no more: from here on silence is a stall. */
  let busy = false;
  let write: ((bytes: Uint8Array) => Promise<boolean>) | null = null;
  const opened = latch();
  const finished = latch();
  let last = { frame: -1, bytes: -1 };
  const read = progressReader((sign) => {
    if (sign.frame === last.frame && sign.bytes === last.bytes) return;
    last = sign;
    touch();
  });
  // An encoder that nobody gives anything is not stalled.
  const idle = setInterval(
    () => {
      if (!busy) touch();
    },
    Math.max(20, Math.floor(stallMilliseconds / 4)),
  );
  const run = async (): Promise<RunResult> => {
    try {
      return await runTool(
        tools.ffmpeg.path,
        [
          ...COMMON_FFMPEG_FLAGS,
          ...recipe.inputOptions,
          ...(clip?.args ?? []),
          ...recipe.framesInput,
          ...recipe.maskArguments,
          '-filter_complex',
          recipe.filterGraph,
          ...recipe.outputArguments,
        ],
        {
          signal: AbortSignal.any([signal, given.signal]),
          stallMilliseconds,
          pipes: [
            async (stream) => {
              bitstream = await readBitstream(stream);
            },
            async (stream) => {
              pictures = await readPictureHashes(stream);
            },
            ...(recipe.mask === null ? [] : [(stream: Readable) => collector.read(stream)]),
          ],
          feed: async (own) => {
            write = own;
            opened.open();
            await finished.passed;
          },
          onStart: (sign) => {
            touch = sign;
          },
          onStderrLine: (line) => watchLine(watched, line),
          onProgress: async (stream) => {
            for await (const chunk of stream) read((chunk as Buffer).toString('utf8'));
          },
        },
      );
    } finally {
      clearInterval(idle);
      await clip?.dispose();
      await rm(maskFolder, { recursive: true, force: true });
    }
  };
  const ended = run();
  const over = ended.then(
    () => undefined,
    () => undefined,
  );
  return {
    async take(picture) {
      await Promise.race([opened.passed, over]);
      busy = true;
      touch();
      await write?.(picture);
      busy = false;
      touch();
    },
    async end() {
      busy = true;
      touch();
      finished.open();
      const result = await ended;
      const [sketch = null] = sketchesOf({
        collectors: [collector],
        masks: [recipe.mask],
        seeds: [seed],
        stated: [null],
      });
      return { run: result, watched, bitstream, sketch, pictures };
    },
    async stop() {
      given.abort();
      finished.open();
      await over;
    },
  };
}
