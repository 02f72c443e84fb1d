/** Makes every deliverable of a job from one decode: one ffmpeg, watched. Reports what happened as fields; judges nothing. */
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { StatedShape } from '../check/orientation.ts';
import type { SeenPictures } from '../check/pictures.ts';
import type { Job } from '../ledger/job.ts';
import { openAudioBeside, openClip, type OpenedInput } from '../media/input.ts';
import { audioPlaces } from './audio-places.ts';
import type { SegmentTaken } from '../profiles/recipe/index.ts';
import type { Bitstream, PacketHashes } from '../proof/bitstream.ts';
import type { Collecting } from './collect.ts';
import type { MediaTools } from '../process/locate.ts';
import { type FramePipe, openFramePipe } from '../process/frame-pipe.ts';
import { type PipeReader, type RunResult, runTool } from '../process/run.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { FramePool } from './master/frame-pool.ts';
import { asFarAsItCame, type RecipeSeen, readyRecipe, type StagedMovie } from './recipe-run.ts';
import { readSecondTime, type SecondReading, type Spot } from './second-reading.ts';
import { readingOf } from './stretch.ts';
import { newWatched, progressReader, type Watched, watchLine } from './watch.ts';

export interface MakeRequest {
  readonly job: Job;
  /** Which of the job's movies, and where each is written. */
  readonly outputs: readonly StagedMovie[];
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

export interface MakeResult extends RecipeSeen {
  /** By output, of a clip that is joined from segments: its pictures as the checker saw them there. Absent: they are decoded when it is checked. */
  readonly pictures?: readonly (SeenPictures | null)[];
  readonly run: RunResult;
  readonly watched: Watched;
  /** Of what was decoded, as far as it came; null when not even the frames' clock was reported, or a pipe ended within a sample. */
  readonly fingerprints: SourceFingerprints | null;
  /** Of the source: what the encoder read, and what another program read of it beside. */
  readonly source: {
    readonly taken: Bitstream;
    readonly there: Bitstream;
    readonly spots: readonly Spot[];
    readonly shape: StatedShape;
  };
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
 * 4096x2160 on a pipe a third of the decoder's time. Since 2.35 it asks for large pages where it is told to, of which there are fewer to make. Other
 * C libraries do not know the words.
 */
const KEEP_MEMORY = {
  MALLOC_MMAP_THRESHOLD_: String(2 ** 30),
  MALLOC_TRIM_THRESHOLD_: String(2 ** 31),
  GLIBC_TUNABLES: [process.env.GLIBC_TUNABLES, 'glibc.malloc.hugetlb=1'].filter(Boolean).join(':'),
};

/** Which frames of a long clip are made, and how the file is entered for them: options before its own. */
export interface Cut {
  readonly segment: SegmentTaken;
  readonly enter: readonly string[];
  /** In its middle. */
  readonly isEntered: boolean;
}

/** What one ffmpeg gave. */
interface Decoded extends RecipeSeen {
  readonly run: RunResult;
  readonly watched: Watched;
  readonly collecting: Collecting;
}

/** Of a segment: what is known of its source is known by packet, and nobody has read the clip a second time yet. */
export interface MadeSegment extends RecipeSeen {
  readonly run: RunResult;
  readonly watched: Watched;
  /** Of what was seen, one frame more on either side where there is one; null as of a whole clip. */
  readonly fingerprints: SourceFingerprints | null;
  /** By output, the packets that left its encoder. */
  readonly packets: readonly PacketHashes[];
  /** Those of the source that its decoder was given, from where the file was entered on. */
  readonly taken: PacketHashes;
}

export async function make(request: MakeRequest): Promise<MakeResult> {
  const job = readingOf(request.job);
  // Whatever lies between disk and decoder (a bad cable, bad memory) would give one of the two something else.
  const second: { reading?: Promise<SecondReading> } = {};
  const decoded = await decode({ ...request, job }, null, (input) => {
    second.reading = readSecondTime({ ...request, job }, input);
    // Awaited before the input is closed; until then it may fail unheard.
    second.reading.catch(() => undefined);
    return second.reading;
  });
  const there = await second.reading;
  if (there === undefined) throw new RangeError('a clip that was not read a second time');
  const { collecting, ...made } = decoded;
  return {
    ...made,
    fingerprints: asFarAsItCame(() => collecting.fingerprints(made.watched)),
    source: {
      taken: collecting.source(),
      there: there.bitstream,
      spots: there.spots,
      shape: there.shape,
    },
  };
}

export async function makeSegmentOf(request: MakeRequest, cut: Cut): Promise<MadeSegment> {
  const { collecting, ...made } = await decode(request, cut, () => Promise.resolve());
  return {
    ...made,
    fingerprints: asFarAsItCame(() => collecting.fingerprints(made.watched)),
    packets: collecting.packets,
    taken: collecting.sourcePackets(),
  };
}

/** `beside`: what is done with the opened clip meanwhile. */
async function decode(
  request: MakeRequest,
  cut: Cut | null,
  beside: (input: OpenedInput) => Promise<unknown>,
): Promise<Decoded> {
  const { job, outputs, besides = [], tools, threads, signal } = request;
  const textFolder = await mkdtemp(join(tmpdir(), 'rushlight-text-'));
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  let frames: FramePipe | null = null;
  let sounds: readonly OpenedInput[] = [];
  try {
    sounds = await openAudioBeside(audioPlaces(job));
    if (request.framePool !== null) frames = await openFramePipe(join(textFolder, 'frames'));
    const { recipe, graph, collecting, seen } = await readyRecipe({
      job,
      outputs,
      besides,
      input,
      frames: framesReader(request.framePool, frames),
      segment: cut?.segment,
      folder: textFolder,
      tools,
      threads,
      signal,
    });
    const watched = newWatched();
    let lastSign = { frame: -1, bytes: -1 };
    let touch = (): void => {};
    const read = progressReader((sign) => {
      // A sign of life is work done: an encoder that only repeats its numbers is stalled.
      if (sign.frame === lastSign.frame && sign.bytes === lastSign.bytes) return;
      lastSign = sign;
      touch();
      request.onFrames(Math.max(sign.frame, 0));
    });
    const meanwhile = beside(input);
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...COMMON_FFMPEG_FLAGS,
        ...recipe.inputOptions,
        ...(cut?.enter ?? []),
        ...input.args,
        ...sounds.flatMap(({ args }) => args),
        ...recipe.furtherInputs,
        ...graph,
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
        onStderrLine: (line) => watchLine(watched, line, cut?.isEntered),
        onProgress: async (stream) => {
          for await (const chunk of stream) read((chunk as Buffer).toString('utf8'));
        },
      },
    );
    await meanwhile;
    return { run, watched, collecting, ...seen(watched) };
  } finally {
    await frames?.close();
    for (const sound of sounds) await sound.dispose();
    await input.dispose();
    await rm(textFolder, { recursive: true, force: true });
  }
}

function framesReader(framePool: FramePool | null, pipe: FramePipe | null): PipeReader | undefined {
  if (framePool === null || pipe === null) return undefined;
  return { ...pipe, read: () => framePool.readPipe(pipe) };
}
