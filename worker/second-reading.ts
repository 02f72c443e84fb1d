/**
 * The source read a second time, apart from what encodes it: a hash of every packet, and two of its frames decoded on their own. One
 * program answers all of it, beside the encoder, where it mostly finds the file in memory; starting one costs more than reading a short clip.
 */
import {
  liesOnItsSide,
  type Orientation,
  orientationOfStills,
  type StatedOrientation,
  type StatedShape,
  statedShape,
  UPRIGHT,
  uprightCells,
} from '../check/orientation.ts';
import { fsPath } from '../files/names.ts';
import type { Job } from '../ledger/job.ts';
import { earlierField } from '../media/facts.ts';
import { type OpenedInput, openInput } from '../media/input.ts';
import { framePath } from '../media/raw/sequence.ts';
import { AS_CODED } from '../media/upright.ts';
import type { MediaTools } from '../process/locate.ts';
import { FIRST_PIPE, type RunOptions, runTool } from '../process/run.ts';
import {
  type Bitstream,
  bitstreamOptions,
  joinedBitstream,
  type PacketHashes,
  packetOptions,
  readBitstream,
  readPacketHashes,
  sourceStreams,
} from '../proof/bitstream.ts';
import { FingerprintCollector } from '../proof/collect.ts';
import {
  COLOUR_HEIGHT,
  COLOUR_WIDTH,
  type FrameFingerprints,
  GRID_HEIGHT,
  GRID_WIDTH,
} from '../proof/form.ts';
import { pictureTap, rawPictures } from '../proof/tap.ts';
import { jointsIn } from './stretch.ts';
import { leadFilter, openAtFrame, type OpenedAtFrame, spotFrames } from './spot-frames.ts';

/** One frame, decoded on its own. */
export interface Spot {
  readonly frame: number;
  /** null: the decoder gave nothing there. */
  readonly seen: FrameFingerprints | null;
}

export interface SecondReading {
  /** What could not be read is missing from it. */
  readonly bitstream: Bitstream;
  /** Each packet by itself, where that was asked for; else none. */
  readonly packets: PacketHashes;
  readonly spots: readonly Spot[];
  /** What the file says of how its pictures are to be seen. */
  readonly shape: StatedShape;
}

export interface SecondReadingRequest {
  readonly job: Pick<Job, 'rollFolder' | 'clip' | 'facts' | 'span'>;
  /** Of a clip that is joined from segments, each of which read some of its packets. */
  readonly byPacket?: boolean;
  /** Frames to be looked at besides those that are drawn, counted in the job. Absent: none. */
  readonly further?: readonly number[];
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
}

/** A part of the command that asks for one thing: its input, its graph, its outputs, and who reads them. */
interface Question {
  readonly input: readonly string[];
  readonly graph: readonly string[];
  /** Output options, without their target. */
  readonly outputs: readonly (readonly string[])[];
  readonly readers: NonNullable<RunOptions['pipes']>;
}

interface Asked<Answer> {
  /** `index`: which of the program's inputs it is given. */
  question(index: number): Question;
  /** As far as it came. */
  answer(): Answer;
  isWhole(): boolean;
}

function askPackets({ facts }: SecondReadingRequest['job'], input: OpenedInput): Asked<Bitstream> {
  const streams = sourceStreams(facts);
  let bitstream: Bitstream = { streams: [] };
  return {
    question: (index) => ({
      input: input.args,
      graph: [],
      outputs: [bitstreamOptions(streams.map((stream) => stream.replace(/^0:/, `${index}:`)))],
      readers: [
        async (stream) => {
          bitstream = await readBitstream(stream);
        },
      ],
    }),
    answer: () => bitstream,
    isWhole: () => bitstream.streams.length === streams.length,
  };
}

/** One part of a spanned clip, opened alone. */
function askPart({ facts }: SecondReadingRequest['job'], input: OpenedInput): Asked<PacketHashes> {
  const streams = sourceStreams(facts);
  let hashes: PacketHashes = { streams: [] };
  return {
    question: (index) => ({
      input: input.args,
      graph: [],
      outputs: [packetOptions(streams.map((stream) => stream.replace(/^0:/, `${index}:`)))],
      readers: [
        async (stream) => {
          hashes = await readPacketHashes(stream);
        },
      ],
    }),
    answer: () => hashes,
    isWhole: () => hashes.streams.length === streams.length,
  };
}

/** What is asked for all packets of the clip, and what the answers come to. */
interface AskedPackets {
  readonly asked: readonly Asked<unknown>[];
  answer(): Bitstream;
  packets(): PacketHashes;
}

function askClip(
  job: SecondReadingRequest['job'],
  input: OpenedInput,
  parts: readonly OpenedInput[],
  byPacket: boolean,
): AskedPackets {
  if (parts.length === 0 && byPacket) {
    const asked = askPart(job, input);
    return { asked: [asked], answer: () => joinedBitstream([asked.answer()]), packets: asked.answer };
  }
  const packets = (): PacketHashes => ({ streams: [] });
  if (parts.length === 0) {
    const asked = askPackets(job, input);
    return { asked: [asked], answer: asked.answer, packets };
  }
  const asked = parts.map((part) => askPart(job, part));
  return { asked, answer: () => joinedBitstream(asked.map((one) => one.answer())), packets };
}

/**
 * How much of a movie is read for one frame: a program that has other outputs left goes on decoding an input whose own output has ended
 * (measured: eight seconds of RDD 36, decoded twice over, cost five times what is asked for). A frame that does not lie within is asked for apart.
 */
const READ_FRAMES = 2;

function readShortly({ clip, facts }: SecondReadingRequest['job'], lead: number): string[] {
  const { num, den } = facts.video.rate;
  // Where steps vary nobody knows how long so many frames take.
  return clip.place.kind !== 'sequence' && facts.video.rateConstant
    ? ['-t', (lead + (READ_FRAMES * den) / num).toFixed(6)]
    : [];
}

/** `input`: opened at the frame. Seen as it is coded, and its cells put where `orientation` shows them: nothing in the program turns it. */
function askFrame(
  job: SecondReadingRequest['job'],
  input: OpenedAtFrame,
  orientation: Orientation,
): Asked<FrameFingerprints | null> {
  const { video } = job.facts;
  const collector = new FingerprintCollector();
  const tap = pictureTap('shown', {
    pixelFormat: video.pixelFormat,
    size: video,
    earlierField: earlierField(video),
    framing: null,
    onItsSide: liesOnItsSide(orientation),
  });
  const pads = tap.hasColour ? (['luma', 'colour'] as const) : (['luma'] as const);
  const answer = (): FrameFingerprints | null => {
    const seen = collector.fingerprints(earlierField(video) === null ? 1 : 2, tap.hasColour);
    return seen.frames === 0
      ? null
      : {
          ...seen,
          luma: uprightCells(orientation, seen.luma, { width: GRID_WIDTH, height: GRID_HEIGHT }),
          colour:
            seen.colour === null
              ? null
              : uprightCells(orientation, seen.colour, { width: COLOUR_WIDTH, height: COLOUR_HEIGHT }),
        };
  };
  return {
    question: (index) => {
      // Two taps of one program need pads of different names.
      const chains = tap.chains.map((chain) => chain.replace(/\[([a-z-]+)\]/g, `[$1-${index}]`));
      return {
        // One thread: several of them decode ahead as many frames, of which nobody asks for one.
        input: [...AS_CODED, '-threads', '1', ...readShortly(job, input.lead), ...input.args],
        graph: [
          '-filter_complex',
          [`[${index}:${video.streamIndex}]${leadFilter(input.lead)}null[shown-${index}]`, ...chains].join(
            ';',
          ),
        ],
        outputs: pads.map((pad) => ['-frames:v', '1', ...rawPictures(`${pad}-${index}`)]),
        readers: pads.map((pad) => (stream) => collector[pad].read(stream)),
      };
    },
    answer,
    isWhole: () => answer() !== null,
  };
}

/** True: the program came to its own end, and says that nothing went wrong. */
async function askAll(
  asked: readonly Pick<Asked<unknown>, 'question'>[],
  { tools, stallMilliseconds, signal }: SecondReadingRequest,
): Promise<boolean> {
  const questions = asked.map((one, index) => one.question(index));
  let touch = (): void => {};
  const ended = await runTool(
    tools.ffmpeg.path,
    [
      ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'error'],
      ...['-progress', 'pipe:3', '-noauto_conversion_filters'],
      ...questions.flatMap(({ input }) => input),
      ...questions.flatMap(({ graph }) => graph),
      ...questions
        .flatMap(({ outputs }) => outputs)
        .flatMap((options, pipe) => [...options, `pipe:${FIRST_PIPE + pipe}`]),
    ],
    {
      signal,
      stallMilliseconds,
      onStart: (sign) => {
        touch = sign;
      },
      onProgress: async (stream) => {
        for await (const _ of stream) touch();
      },
      pipes: questions.flatMap(({ readers }) => readers),
    },
  );
  return ended.reason === 'exited' && ended.exitCode === 0;
}

/** `input`: the whole clip. Throws what opening a file throws; what a program could not read is missing from the answer. */
export async function readSecondTime(
  request: SecondReadingRequest,
  input: OpenedInput,
): Promise<SecondReading> {
  const { job, signal, byPacket = false, further = [] } = request;
  const opened: { readonly frame: number; readonly input: OpenedAtFrame }[] = [];
  const parts: OpenedInput[] = [];
  try {
    for (const file of job.clip.place.kind === 'spanned' ? job.clip.place.parts : [])
      parts.push(await openInput(job.rollFolder, { kind: 'movie', file: file.file }));
    // On both sides of each joint as well.
    const atJoints = jointsIn(job).flatMap((first) => [first - 1, first]);
    const drawn = spotFrames(job.clip.contentDigest, job.span.count, 'proxy');
    for (const frame of [...new Set([...drawn, ...atJoints, ...further])].sort((a, b) => a - b))
      opened.push({ frame, input: await openAtFrame(job, frame) });
    // Of numbered frames those that are looked at say how they lie.
    const stated =
      job.clip.place.kind === 'sequence'
        ? { orientation: await stillsOrientation(job, drawn), earlierField: null }
        : await statedShape(input.path, job.facts.video.streamIndex);
    const orientation =
      stated.orientation === null || stated.orientation === 'other' ? UPRIGHT : stated.orientation;
    const begin = () => ({
      packets: askClip(job, input, parts, byPacket),
      frames: opened.map((one) => ({ frame: one.frame, asked: askFrame(job, one.input, orientation) })),
    });
    const together = begin();
    const all = [...together.packets.asked, ...together.frames.map(({ asked }) => asked)];
    if (((await askAll(all, request)) && all.every((asked) => asked.isWhole())) || signal.aborted)
      return { ...answersOf(together), shape: stated };
    // A file that cannot be entered in its middle ends the program for all that was asked: then each on its own.
    const apart = begin();
    for (const asked of [...apart.packets.asked, ...apart.frames.map((one) => one.asked)])
      await askAll([asked], request);
    return { ...answersOf(apart), shape: stated };
  } finally {
    for (const input of [...parts, ...opened.map((one) => one.input)]) await input.dispose();
  }
}

/** null: of a form that says nothing of it (OpenEXR). */
const stillsOrientation = (
  { rollFolder, clip: { place } }: SecondReadingRequest['job'],
  frames: readonly number[],
): Promise<StatedOrientation | null> =>
  place.kind === 'sequence'
    ? orientationOfStills(frames.map((frame) => fsPath(framePath(rollFolder, place, place.first + frame))))
    : Promise.resolve(null);

function answersOf({
  packets,
  frames,
}: {
  readonly packets: AskedPackets;
  readonly frames: readonly { readonly frame: number; readonly asked: Asked<FrameFingerprints | null> }[];
}): Omit<SecondReading, 'shape'> {
  return {
    bitstream: packets.answer(),
    packets: packets.packets(),
    spots: frames.map(({ frame, asked }) => ({ frame, seen: asked.answer() })),
  };
}
