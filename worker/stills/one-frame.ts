/** One picture of a clip out of ffmpeg, and which frame of the clip it is by its time. */
import type { Job } from '../../ledger/job.ts';
import type { MediaTools } from '../../process/locate.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import { openAtFrame } from '../spot-frames.ts';
import { openInput } from '../../media/input.ts';
import { newWatched, type Watched, watchLine } from '../watch.ts';

export interface FrameRequest {
  readonly job: Pick<Job, 'rollFolder' | 'clip' | 'facts'>;
  readonly frame: number;
  /** Behind `[in]`, the decoded picture; ends at `[out]`. */
  readonly graph: string;
  /** Of the picture that comes out. */
  readonly bytes: number;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
}

export type OneFrame = { readonly picture: Buffer } | { readonly why: string };

/** How often a seek that landed beside is corrected before the clip is decoded from its beginning. */
const SEEKS = 2;

/** Which frame of the clip it is by its time; of a numbered sequence the file says it. null: it has no time. */
function frameOf(
  { facts: { video }, clip }: FrameRequest['job'],
  asked: number,
  watched: Watched,
): number | null {
  if (clip.place.kind === 'sequence') return asked;
  const { firstTime, timeBase, rate } = video;
  const [time] = watched.times;
  if (watched.timeBase === null || time === undefined || Number.isNaN(time)) return null;
  const seconds =
    (time * watched.timeBase.num) / watched.timeBase.den - (firstTime * timeBase.num) / timeBase.den;
  return Math.round((seconds * rate.num) / rate.den);
}

/** Throws the signal's reason, and what the runner throws. */
export async function oneFrame(request: FrameRequest): Promise<OneFrame> {
  const { job, frame } = request;
  const last = job.facts.video.frames - 1;
  let at = frame;
  for (let tried = 0; tried < SEEKS; tried += 1) {
    const found = await taken(request, { seek: at, skip: 0 });
    if ('picture' in found && found.frame === frame) return { picture: found.picture };
    if (frame === 0 || job.clip.place.kind === 'sequence')
      return { why: 'why' in found ? found.why : `frame ${found.frame ?? 'without a time'} came` };
    const landed = 'picture' in found ? found.frame : null;
    at = Math.min(Math.max(landed === null ? 0 : at + frame - landed, 0), last);
    if (landed === null) break;
  }
  // Not every file can be entered in its middle.
  const found = await taken(request, { seek: 0, skip: frame });
  if ('why' in found) return found;
  return found.frame === frame
    ? { picture: found.picture }
    : { why: `frame ${found.frame ?? 'without a time'} came for frame ${frame}` };
}

async function taken(
  { job, graph, bytes, tools, stallMilliseconds, signal, frame }: FrameRequest,
  { seek, skip }: { readonly seek: number; readonly skip: number },
): Promise<{ readonly picture: Buffer; readonly frame: number | null } | { readonly why: string }> {
  const { clip, rollFolder, facts } = job;
  const input =
    skip > 0
      ? await openInput(rollFolder, clip.place, facts.video.rate)
      : await openAtFrame(job, clip.place.kind === 'sequence' ? frame : seek);
  const picture = Buffer.allocUnsafe(bytes);
  let length = 0;
  const watched = newWatched();
  try {
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'repeat+level+info', '-copyts'],
        ...input.args,
        '-filter_complex',
        `[0:${facts.video.streamIndex}]${skip > 0 ? `trim=start_frame=${skip},` : ''}showinfo=checksum=0[in];${graph}`,
        ...['-map', '[out]', '-frames:v', '1', '-fps_mode', 'passthrough'],
        ...['-c:v', 'rawvideo', '-f', 'rawvideo', `pipe:${FIRST_PIPE}`],
      ],
      {
        signal,
        stallMilliseconds,
        onStderrLine: (line) => watchLine(watched, line),
        pipes: [
          async (stream) => {
            for await (const part of stream) {
              const chunk = part as Buffer;
              // More than a picture has is counted, and not kept.
              if (length < bytes) chunk.copy(picture, length);
              length += chunk.length;
            }
          },
        ],
      },
    );
    signal.throwIfAborted();
    if (run.reason !== 'exited' || run.exitCode !== 0 || length !== bytes)
      return {
        why: `${length} bytes of a picture of ${bytes}; ${run.startError ?? watched.errors[0] ?? `${run.reason}, exit code ${run.exitCode}`}`,
      };
    return { picture, frame: frameOf(job, frame, watched) };
  } finally {
    await input.dispose();
  }
}
