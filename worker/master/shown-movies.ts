/** Movies whose pictures the frame pool develops: one ffmpeg that is fed with R'G'B' of ACEScct, takes them through their tables and encodes all of them. */
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Job } from '../../ledger/job.ts';
import { openAudio } from '../../media/input.ts';
import { audioPlaces } from '../audio-places.ts';
import { formatRatio } from '../../media/time/rate.ts';
import { FIRST_PIPE, type RunResult } from '../../process/run.ts';
import { SHOWN_PIXELS } from '../../profiles/shown/decide.ts';
import type { ShownDeveloped } from '../../profiles/shown/schema.ts';
import type { MakingContext } from '../context.ts';
import { COMMON_FFMPEG_FLAGS } from '../make.ts';
import { type RecipeSeen, readyRecipe, type StagedMovie } from '../recipe-run.ts';
import type { Watched } from '../watch.ts';
import { type FedFfmpeg, startFed } from './fed-ffmpeg.ts';

export interface ShownMade extends RecipeSeen {
  readonly run: RunResult;
  /** `decoded`: pictures that it took in. */
  readonly watched: Watched;
  /** Of each picture that it was fed with, SHA-256, 32 bytes. */
  readonly handedOver: Buffer;
}

export interface ShownMaking extends Pick<FedFfmpeg, 'take' | 'stop'> {
  /** After the last picture. Throws what the runner throws. */
  end(): Promise<ShownMade>;
}

/** Movies of developed pictures of one size. */
export async function startShown(
  job: Job,
  outputs: readonly StagedMovie[],
  { width, height }: ShownDeveloped['size'],
  { tools, threads, stallMilliseconds, signal }: MakingContext,
): Promise<ShownMaking> {
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-shown-'));
  let heard: Awaited<ReturnType<typeof openAudio>> = [];
  const clean = async (): Promise<void> => {
    for (const input of heard) await input.dispose();
    await rm(folder, { recursive: true, force: true });
  };
  try {
    const { recipe, graph, collecting, seen } = await readyRecipe({
      job,
      outputs,
      besides: [],
      input: null,
      folder,
      tools,
      threads,
      signal,
    });
    if (recipe.takesAudio) heard = await openAudio(audioPlaces(job));
    const fed = startFed({
      tools,
      args: [
        ...COMMON_FFMPEG_FLAGS,
        ...recipe.inputOptions,
        ...heard.flatMap(({ args }) => args),
        ...['-protocol_whitelist', 'pipe', '-f', 'rawvideo', '-pixel_format', SHOWN_PIXELS],
        ...['-video_size', `${width}x${height}`, '-framerate', formatRatio(job.facts.video.rate)],
        ...['-i', `pipe:${FIRST_PIPE + recipe.pipes.length}`],
        ...recipe.furtherInputs,
        ...graph,
        ...recipe.outputArguments,
      ],
      pipes: collecting.readers,
      stallMilliseconds,
      signal,
      clean,
    });
    return {
      take: (picture) => fed.take(picture),
      stop: () => fed.stop(),
      async end() {
        const { run, watched } = await fed.end();
        return { run, watched, handedOver: collecting.handedOver(), ...seen(watched) };
      },
    };
  } catch (error) {
    await clean();
    throw error;
  }
}
