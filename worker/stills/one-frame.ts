/** One picture of a clip out of ffmpeg, and which frame of the clip it is by its time. */
import type { Job } from '../../ledger/job.ts';
import type { MediaTools } from '../../process/locate.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import type { VideoFacts } from '../../media/facts.ts';
import { type MoviePlace, openInput, partAt, type SequencePlace } from '../../media/input.ts';
import { AS_CODED } from '../../media/upright.ts';
import { leadFilter, openFileAtFrame } from '../spot-frames.ts';
import { newWatched, type Watched, watchLine } from '../watch.ts';

export interface FrameRequest {
  readonly job: Pick<Job, 'rollFolder' | 'clip' | 'facts'>;
  readonly frame: number;
  /** Behind `[in]`, the picture as it is coded; ends at `[out]`. */
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

/** What is opened alone: of a spanned clip the part that the frame lies in, with the clock of that file. */
export interface Alone {
  readonly rollFolder: string;
  readonly place: MoviePlace | SequencePlace;
  readonly facts: Job['facts'];
}

export function aloneOf(
  { rollFolder, clip: { place }, facts }: FrameRequest['job'],
  frame: number,
): { readonly alone: Alone; readonly frame: number } {
  if (place.kind !== 'spanned') return { alone: { rollFolder, place, facts }, frame };
  const { place: file, part, frame: own } = partAt(place, facts.parts ?? [], frame);
  const { frames, firstTime, timeBase } = part;
  const video = { ...facts.video, frames, firstTime, timeBase };
  return { alone: { rollFolder, place: file, facts: { ...facts, video } }, frame: own };
}

/** Of a movie, by `seconds` from its first frame on. */
function frameAt({ rate, stepsInOrder, timeBase }: VideoFacts, seconds: number): number {
  if (stepsInOrder === undefined) return Math.round((seconds * rate.num) / rate.den);
  let left = (seconds * timeBase.den) / timeBase.num;
  let frames = 0;
  for (const [step, count] of stepsInOrder) {
    if (left < step * (count - 0.5)) return frames + Math.round(left / step);
    left -= step * count;
    frames += count;
  }
  return frames;
}

/** Which frame of the file it is by its time; of a numbered sequence the file says it. null: it has no time. */
export function frameOf({ facts: { video }, place }: Alone, asked: number, watched: Watched): number | null {
  if (place.kind === 'sequence') return asked;
  const { firstTime, timeBase } = video;
  const [time] = watched.times;
  if (watched.timeBase === null || time === undefined || Number.isNaN(time)) return null;
  return frameAt(
    video,
    (time * watched.timeBase.num) / watched.timeBase.den - (firstTime * timeBase.num) / timeBase.den,
  );
}

interface AloneRequest extends Omit<FrameRequest, 'job'> {
  readonly alone: Alone;
}

/** Throws the signal's reason, and what the runner throws. */
export async function oneFrame({ job, ...asked }: FrameRequest): Promise<OneFrame> {
  const { alone, frame } = aloneOf(job, asked.frame);
  const request: AloneRequest = { ...asked, frame, alone };
  const last = alone.facts.video.frames - 1;
  let at = frame;
  for (let tried = 0; tried < SEEKS; tried += 1) {
    const found = await taken(request, { seek: at, skip: 0 });
    if ('picture' in found && found.frame === frame) return { picture: found.picture };
    if (frame === 0 || alone.place.kind === 'sequence')
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
  { alone, graph, bytes, tools, stallMilliseconds, signal, frame }: AloneRequest,
  { seek, skip }: { readonly seek: number; readonly skip: number },
): Promise<{ readonly picture: Buffer; readonly frame: number | null } | { readonly why: string }> {
  const { place, rollFolder, facts } = alone;
  const input =
    skip > 0
      ? { ...(await openInput(rollFolder, place, facts.video.rate)), lead: 0, wanted: 0 }
      : await openFileAtFrame(rollFolder, place, facts, place.kind === 'sequence' ? frame : seek);
  // Times are those of the file here.
  const { firstTime, timeBase } = facts.video;
  const before = input.lead === 0 ? '' : leadFilter((firstTime * timeBase.num) / timeBase.den + input.wanted);
  const picture = Buffer.allocUnsafe(bytes);
  let length = 0;
  const watched = newWatched();
  try {
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'repeat+level+info', '-copyts'],
        ...AS_CODED,
        ...input.args,
        '-filter_complex',
        `[0:${facts.video.streamIndex}]${skip > 0 ? `trim=start_frame=${skip},` : before}showinfo=checksum=0[in];${graph}`,
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
    return { picture, frame: frameOf(alone, frame, watched) };
  } finally {
    await input.dispose();
  }
}
