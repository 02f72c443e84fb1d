/**
 * The audio of a spanned clip whose audio does not run on from part to part, heard a second time: each part decoded alone, and laid where its own start and the frames before it put it.
 * The survey counts silences, the checker places: what they share is what each part says of itself.
 */
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { type OpenedInput, openInput } from '../../media/input.ts';
import type { MediaTools } from '../../process/locate.ts';
import { runTool } from '../../process/run.ts';

const SAMPLE_BYTES = 4;
/** Silence that is laid down at a time, bytes. */
const SILENCE = Buffer.alloc(1 << 16);

export interface PartsHeard {
  /** Samples of each part, per channel, up to those that it counts. */
  readonly decoded: readonly number[];
  /** Of all that was given. */
  readonly samples: number;
}

/** First sample of the audio of each part, counted from the first frame of the clip: half a sample up. */
export function beginsOf(
  { parts = [], video }: Pick<ClipFacts, 'parts' | 'video'>,
  track: number,
  sampleRate: number,
): number[] {
  let frames = 0n;
  return parts.map((part) => {
    const doubled = (2n * frames * BigInt(video.rate.den) * BigInt(sampleRate)) / BigInt(video.rate.num);
    frames += BigInt(part.frames);
    return Number((doubled + 1n) / 2n) + (part.audio[track]?.startOffset ?? 0);
  });
}

export interface PartsRequest {
  readonly rollFolder: string;
  readonly facts: ClipFacts;
  readonly track: AudioFacts;
  /** Which of the clip's tracks. */
  readonly index: number;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
}

/** Gives all samples in order, from the first of the first part on, interleaved, as signed 32-bit words, little-endian. Throws what opening a file and starting a program throws. */
export async function hearParts(
  { rollFolder, facts, track, index, tools, signal }: PartsRequest,
  take: (samples: Buffer) => void,
): Promise<PartsHeard> {
  const { channels, sampleRate, streamIndex } = track;
  const whole = channels * SAMPLE_BYTES;
  const begins = beginsOf(facts, index, sampleRate);
  const [first = 0] = begins;
  /** Samples given so far. */
  let given = 0;
  const decoded: number[] = [];
  const silent = (samples: number): void => {
    for (let bytes = samples * whole; bytes > 0; bytes -= SILENCE.length)
      take(bytes < SILENCE.length ? SILENCE.subarray(0, bytes) : SILENCE);
    given += samples;
  };
  for (const [at, part] of (facts.parts ?? []).entries()) {
    silent(Math.max(0, (begins[at] as number) - first - given));
    const next = begins[at + 1];
    // A coder fills its last packet up: what the part does not count as its own is not heard, nor what lies behind the beginning of the next part.
    const own = part.audio[index]?.samples ?? 0;
    let left = next === undefined ? own : Math.max(0, Math.min(own, next - first - given));
    let samples = 0;
    let rest: Buffer = Buffer.alloc(0);
    const input: OpenedInput = await openInput(rollFolder, { kind: 'movie', file: part.file });
    try {
      await runTool(
        tools.ffmpeg.path,
        [
          ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'error', ...input.args],
          ...['-map', `0:${streamIndex}`, '-c:a', 'pcm_s32le', '-f', 's32le', 'pipe:1'],
        ],
        {
          signal,
          onStdout: async (stream) => {
            for await (const chunk of stream) {
              const bytes = rest.length === 0 ? (chunk as Buffer) : Buffer.concat([rest, chunk as Buffer]);
              const frames = Math.floor(bytes.length / whole);
              rest = bytes.subarray(frames * whole);
              samples += frames;
              const heard = Math.min(frames, left);
              take(bytes.subarray(0, heard * whole));
              given += heard;
              left -= heard;
            }
          },
        },
      );
    } finally {
      await input.dispose();
    }
    decoded.push(Math.min(samples, own));
  }
  // What the last part leaves out of the picture, up to a tenth of a second, is silence too.
  const { frames, rate } = facts.video;
  const ends = Number(
    (2n * BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) + BigInt(rate.num)) /
      (2n * BigInt(rate.num)),
  );
  const left = ends - first - given;
  if (left > 0 && 10 * left <= sampleRate) silent(left);
  return { decoded, samples: given };
}
