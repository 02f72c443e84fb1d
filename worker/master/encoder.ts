/** The encoder of a movie for grading, fed by the frame pool (fed-ffmpeg.ts). */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import type { Job, MovieMasterWork } from '../../ledger/job.ts';
import { openAudio } from '../../media/input.ts';
import { audioPlaces } from '../audio-places.ts';
import { type Bitstream, readBitstream } from '../../proof/bitstream.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { RunResult } from '../../process/run.ts';
import { masterMovieRecipe } from '../../profiles/recipe/master.ts';
import { maskBytes } from '../../profiles/recipe/sketch.ts';
import { readPictureHashes } from '../../proof/exact.ts';
import { ValueCollector } from '../../proof/collect.ts';
import type { ErrorSketch } from '../../proof/sketch/form.ts';
import { maskSeed } from '../../proof/sketch/mask.ts';
import { COMMON_FFMPEG_FLAGS } from '../make.ts';
import { sketchesOf } from '../sketches.ts';
import type { Watched } from '../watch.ts';
import { type FedFfmpeg, startFed } from './fed-ffmpeg.ts';

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

export interface MasterEncoder extends Pick<FedFfmpeg, 'take' | 'stop'> {
  /** After the last picture. Throws what the runner throws. */
  end(): Promise<Encoded>;
}

export interface EncoderRequest {
  readonly job: Job;
  readonly output: StagedMovieMaster;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
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
  const heard = outcome.audio.length === 0 ? [] : await openAudio(audioPlaces(job));
  let bitstream: Bitstream = { streams: [] };
  let pictures: Buffer = Buffer.alloc(0);
  const fed = startFed({
    tools,
    args: [
      ...COMMON_FFMPEG_FLAGS,
      ...recipe.inputOptions,
      ...heard.flatMap(({ args }) => args),
      ...recipe.framesInput,
      ...recipe.maskArguments,
      '-filter_complex',
      recipe.filterGraph,
      ...recipe.outputArguments,
    ],
    pipes: [
      async (stream) => {
        bitstream = await readBitstream(stream);
      },
      async (stream) => {
        pictures = await readPictureHashes(stream);
      },
      ...(recipe.mask === null ? [] : [(stream: Readable) => collector.read(stream)]),
    ],
    stallMilliseconds,
    signal,
    clean: async () => {
      for (const input of heard) await input.dispose();
      await rm(maskFolder, { recursive: true, force: true });
    },
  });
  return {
    take: (picture) => fed.take(picture),
    async end() {
      const { run, watched } = await fed.end();
      const [sketch = null] = sketchesOf({
        collectors: [collector],
        masks: [recipe.mask],
        seeds: [seed],
        stated: [null],
      });
      return { run, watched, bitstream, sketch, pictures };
    },
    stop: () => fed.stop(),
  };
}
