/** Makes every deliverable of a job from one decode: one ffmpeg, watched. Reports what happened as fields; judges nothing. */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Job, MovieWork } from '../ledger/job.ts';
import { earlierField } from '../media/facts.ts';
import { openInput } from '../media/input.ts';
import type { Bitstream } from '../proof/bitstream.ts';
import { isAtLeast, type MediaTools } from '../process/locate.ts';
import { type FramePipe, openFramePipe } from '../process/frame-pipe.ts';
import { type PipeReader, type RunResult, runTool } from '../process/run.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { recipeOf, wayShown } from '../profiles/recipe/index.ts';
import type { ColourWaySeen } from '../check/colour-way.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import { type BakedWay, bakedWay, thinComparer } from './colour-way.ts';
import { maskBytes } from '../profiles/recipe/sketch.ts';
import type { EncoderInputVerdict } from '../proof/encoder-input/compare.ts';
import { maskSeed } from '../proof/sketch/mask.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { collect } from './collect.ts';
import { encoderInputComparers } from './encoder-input.ts';
import type { TextVerdict } from '../proof/text/compare.ts';
import { textComparers } from './burn-in.ts';
import { sketchesOf } from './sketches.ts';
import type { FramePool } from './master/frame-pool.ts';
import { readSecondTime, type Spot } from './second-reading.ts';
import { newWatched, progressReader, type Watched, watchLine } from './watch.ts';

export interface MakeRequest {
  readonly job: Job;
  /** Which of the job's movies, and where each is written. */
  readonly outputs: readonly { readonly deliverable: MovieWork; readonly staged: string }[];
  /** Takes every decoded frame as it is, for the masters of the job; null: there are none. */
  readonly framePool: FramePool | null;
  /** Of movies that the frame pool feeds: their audio is proved by this decode. */
  readonly besides?: readonly Outcome[];
  readonly tools: MediaTools;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
  readonly onFrames: (frames: number) => void;
}

export interface MakeResult {
  readonly run: RunResult;
  readonly watched: Watched;
  /** By output: of the pictures that its colour way gives, in place of what was decoded; null: they stay as recorded, or did not come. */
  readonly shown: readonly (FrameFingerprints | null)[];
  /** By output: what was seen of its colour way; null: it has none. */
  readonly colourWays: readonly (ColourWaySeen | null)[];
  /** Of what was decoded, as far as it came; null when not even the frames' clock was reported, or a pipe ended within a sample. */
  readonly fingerprints: SourceFingerprints | null;
  /** Of the source: what the encoder read, and what another program read of it beside. */
  readonly source: {
    readonly taken: Bitstream;
    readonly there: Bitstream;
    readonly spots: readonly Spot[];
  };
  /** By output: what left its encoders. */
  readonly bitstreams: readonly Bitstream[];
  /** By output: the sketch of what its encoder was given, as far as it came; null: none is taken. */
  readonly sketches: readonly (ErrorSketch | null)[];
  /** By output: what its encoder was given, against the source; null: it keeps every sample, or its pixels are not computed again. */
  readonly encoderInputs: readonly (EncoderInputVerdict | null)[];
  /** By output: burnt-in text in what its encoder was given; null: it has none. */
  readonly texts: readonly (TextVerdict | null)[];
}

/** Before the input: nothing is asked, everything is reported with its level, the first damage ends the run. */
export const COMMON_FFMPEG_FLAGS = [
  '-hide_banner',
  '-nostdin',
  '-y',
  '-nostats',
  '-loglevel',
  'repeat+level+info',
  '-xerror',
  '-progress',
  'pipe:3',
  '-stats_period',
  '0.5',
] as const;

/**
 * glibc gives the room of a picture beyond 32 MiB back to the system after each use, and every page of it must then be made again: for frames of
 * 4096x2160 on a pipe a third of the decoder's time. Other C libraries do not know the words.
 */
const KEEP_MEMORY = { MALLOC_MMAP_THRESHOLD_: String(2 ** 30), MALLOC_TRIM_THRESHOLD_: String(2 ** 31) };

export async function make(request: MakeRequest): Promise<MakeResult> {
  const { job, outputs, besides = [], tools, threads, signal } = request;
  const textFolder = await mkdtemp(join(tmpdir(), 'rushlight-text-'));
  const input = await openInput(job.rollFolder, job.clip.place, job.facts.video.rate);
  let frames: FramePipe | null = null;
  try {
    if (request.framePool !== null) frames = await openFramePipe(join(textFolder, 'frames'));
    const recipe = recipeOf({
      facts: job.facts,
      deliverables: outputs.map(({ deliverable, staged }) => ({
        profile: deliverable.profile,
        outcome: deliverable.outcome,
        path: staged,
      })),
      textFolder,
      alignsText: isAtLeast(tools.ffmpeg.release, { major: 6, minor: 1 }),
      besides,
      frames: request.framePool !== null,
      threads,
    });
    for (const file of recipe.textFiles) await writeFile(file.path, file.text);
    const seeds = outputs.map(({ deliverable }) => maskSeed(job.clip.contentDigest, deliverable.profileHash));
    for (const [index, mask] of recipe.masks.entries())
      if (mask !== null) await writeFile(mask.path, maskBytes(seeds[index] as string, mask));
    const watched = newWatched();
    const ways = recipe.views.map(({ shown }) => shown);
    const baked: BakedWay[] = [];
    for (const { shown, table } of recipe.views) {
      const way = await bakedWay(job.deliveryFolder, shown);
      await writeFile(table, way.text);
      baked.push(way);
    }
    const thin = baked.map((way) => thinComparer(job, way));
    const comparers = await encoderInputComparers({ ...request, ways }, input);
    const texts = textComparers(outputs.map(({ deliverable }) => deliverable));
    const collecting = collect({
      facts: job.facts,
      outcomes: [...outputs.map(({ deliverable }) => deliverable.outcome), ...besides],
      pipes: recipe.pipes,
      comparers,
      texts,
      thin,
      earlierField: earlierField(job.facts.video),
      frames: framesReader(request.framePool, frames),
    });
    let lastSign = { frame: -1, bytes: -1 };
    let touch = (): void => {};
    const read = progressReader((sign) => {
      // A sign of life is work done: an encoder that only repeats its numbers is stalled.
      if (sign.frame === lastSign.frame && sign.bytes === lastSign.bytes) return;
      lastSign = sign;
      touch();
      request.onFrames(Math.max(sign.frame, 0));
    });
    // Whatever lies between disk and decoder (a bad cable, bad memory) would give one of the two something else.
    const beside = readSecondTime(request, input);
    // Awaited below; until then it may fail unheard.
    beside.catch(() => undefined);
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...COMMON_FFMPEG_FLAGS,
        ...recipe.inputOptions,
        ...input.args,
        ...recipe.furtherInputs,
        '-filter_complex',
        recipe.filterGraph,
        ...recipe.outputArguments,
      ],
      {
        signal,
        pipes: collecting.readers,
        ...(frames === null ? {} : { env: KEEP_MEMORY }),
        stallMilliseconds: request.stallMilliseconds,
        onStart: (sign) => {
          touch = sign;
        },
        onStderrLine: (line) => watchLine(watched, line),
        onProgress: async (stream) => {
          for await (const chunk of stream) read((chunk as Buffer).toString('utf8'));
        },
      },
    );
    const there = await beside;
    const viewed = fingerprintsOf(() => collecting.views()) ?? [];
    const throughTables = thin.map((comparer) => comparer.verdict());
    const verdicts = comparers.map((comparer) => comparer?.verdict() ?? null);
    const wayOf = ({ deliverable }: MakeRequest['outputs'][number]): number | null =>
      wayShown(ways, deliverable.outcome);
    return {
      run,
      watched,
      shown: outputs.map((output) => viewed[wayOf(output) ?? -1] ?? null),
      colourWays: outputs.map((output) => {
        const way = wayOf(output);
        const [table, seen] = [baked[way ?? -1], throughTables[way ?? -1]];
        return way === null || table === undefined || seen === undefined
          ? null
          : { recorded: verdicts[outputs.length + way] ?? null, thin: seen, table: table.sha256 };
      }),
      fingerprints: fingerprintsOf(() => collecting.fingerprints(watched)),
      source: { taken: collecting.source(), there: there.bitstream, spots: there.spots },
      bitstreams: collecting.bitstreams,
      sketches: sketchesOf({
        collectors: collecting.sketches,
        masks: recipe.masks,
        seeds,
        stated: statedOf(outputs, watched),
      }),
      encoderInputs: verdicts.slice(0, outputs.length),
      texts: texts.map((comparer) => comparer?.verdict() ?? null),
    };
  } finally {
    await frames?.close();
    await input.dispose();
    await rm(textFolder, { recursive: true, force: true });
  }
}

/** By output: what its encoder stated of its error. x264 states it as it is closed, one after the other; of a number that does not fit nothing is taken. */
function statedOf(outputs: MakeRequest['outputs'], { psnr }: Watched): readonly (readonly number[] | null)[] {
  const h264 = outputs.filter(({ deliverable }) => deliverable.outcome.codec === 'h264');
  return outputs.map((output) =>
    psnr.length === h264.length && h264.includes(output) ? (psnr[h264.indexOf(output)] ?? null) : null,
  );
}

function framesReader(framePool: FramePool | null, pipe: FramePipe | null): PipeReader | undefined {
  if (framePool === null || pipe === null) return undefined;
  return { ...pipe, read: () => framePool.readPipe(pipe) };
}

/** What ended early may end within a sample; why it ended is reported by others. */
function fingerprintsOf<Fingerprints>(read: () => Fingerprints | null): Fingerprints | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}
