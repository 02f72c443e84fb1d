/**
 * The pictures of several frames of a clip by one ffmpeg. A start of it costs more than a frame of a small picture, and each still is made of a frame and held against one:
 * eight starts a clip. What does not come here as it should is asked for alone, as if nobody had asked before (one-frame.ts).
 */
import { FIRST_PIPE, type PipeReader, runTool } from '../../process/run.ts';
import { AS_CODED } from '../../media/upright.ts';
import { leadFilter, openFileAtFrame, type OpenedAtFrame } from '../spot-frames.ts';
import { newWatched, watchLine } from '../watch.ts';
import { type Alone, aloneOf, type FrameRequest, frameOf, oneFrame, type OneFrame } from './one-frame.ts';

/** Bytes of decoded pictures at once: each frame has a decoder of its own, which keeps several. */
const MOST_BYTES = 2 ** 28;
/** A sample of 16 bits of four components, the largest that a picture is made of. */
const BYTES_OF_A_PIXEL = 8;

/** Which of the frames a line of the filter straight behind a decoder is of; its own line is what is behind. */
const OF_FRAME = /^\[showinfo@frame(\d+) @/;

export interface FramesRequest extends Omit<FrameRequest, 'frame'> {
  /** In the order in which they will be taken. */
  readonly frames: readonly number[];
}

export interface FramesAhead {
  /** Throws the signal's reason, and what the runner throws. */
  take(frame: number): Promise<OneFrame>;
}

export function framesAhead({ frames, ...asked }: FramesRequest): FramesAhead {
  const { width, height } = asked.job.facts.video;
  const atOnce = Math.max(1, Math.floor(MOST_BYTES / (width * height * BYTES_OF_A_PIXEL)));
  const found = new Map<number, Buffer>();
  const tried = new Set<number>();
  return {
    take: async (frame) => {
      const from = frames.indexOf(frame);
      if (from >= 0 && !tried.has(frame)) {
        const group = frames.slice(from, from + atOnce);
        for (const one of group) tried.add(one);
        if (group.length > 1)
          for (const [one, picture] of await together(asked, group)) found.set(one, picture);
      }
      const picture = found.get(frame);
      found.delete(frame);
      return picture === undefined ? await oneFrame({ ...asked, frame }) : { picture };
    },
  };
}

interface Wanted {
  readonly asked: number;
  /** In the file that it lies in. */
  readonly frame: number;
  readonly alone: Alone;
  readonly input: OpenedAtFrame;
}

/** Those that came whole, and whose time is that of the frame. */
async function together(
  { job, graph, bytes, tools, stallMilliseconds, signal }: Omit<FrameRequest, 'frame'>,
  frames: readonly number[],
): Promise<Map<number, Buffer>> {
  const wanted: Wanted[] = [];
  try {
    for (const asked of frames) {
      const { alone, frame } = aloneOf(job, asked);
      const { rollFolder, place, facts } = alone;
      wanted.push({ asked, alone, frame, input: await openFileAtFrame(rollFolder, place, facts, frame) });
    }
    const came = wanted.map(() => ({ picture: Buffer.allocUnsafe(bytes), length: 0, watched: newWatched() }));
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'repeat+level+info', '-copyts'],
        // A thread more would decode a frame more that nobody asked for.
        ...wanted.flatMap(({ input }) => ['-threads', '1', ...AS_CODED, ...input.args]),
        ...wanted.flatMap((one, at) => ['-filter_complex', graphOf(one, at, graph)]),
        ...wanted.flatMap((_, at) => [
          ...['-map', `[out${at}]`, '-frames:v', '1', '-fps_mode', 'passthrough'],
          ...['-c:v', 'rawvideo', '-f', 'rawvideo', `pipe:${FIRST_PIPE + at}`],
        ]),
      ],
      {
        signal,
        stallMilliseconds,
        onStderrLine: (line) => {
          const of = came[Number(OF_FRAME.exec(line)?.[1] ?? Number.NaN)];
          if (of !== undefined) watchLine(of.watched, line.replace(OF_FRAME, '[Parsed_showinfo_0 @'));
        },
        pipes: came.map(
          (of): PipeReader =>
            async (stream) => {
              for await (const part of stream) {
                const chunk = part as Buffer;
                // More than a picture has is counted, and not kept.
                if (of.length < bytes) chunk.copy(of.picture, of.length);
                of.length += chunk.length;
              }
            },
        ),
      },
    );
    signal.throwIfAborted();
    if (run.reason !== 'exited' || run.exitCode !== 0) return new Map();
    return new Map(
      wanted.flatMap(({ asked, alone, frame }, at) => {
        const { picture, length, watched } = came[at] as (typeof came)[number];
        return length === bytes && frameOf(alone, frame, watched) === frame
          ? [[asked, picture] as const]
          : [];
      }),
    );
  } finally {
    for (const { input } of wanted) await input.dispose();
  }
}

/** `graph` ends at `[out]`; each has its own graph, so that what is named within it is its own. */
function graphOf({ alone, input }: Wanted, at: number, graph: string): string {
  const { firstTime, timeBase, streamIndex } = alone.facts.video;
  const before = input.lead === 0 ? '' : leadFilter((firstTime * timeBase.num) / timeBase.den + input.wanted);
  return `[${at}:${streamIndex}]${before}showinfo@frame${at}=checksum=0[in];${graph.replace(/\[out\]$/, `[out${at}]`)}`;
}
