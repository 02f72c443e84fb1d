/** What a clip's own audio heard beside a recording: of each stretch the loudest half second, from a decode of its own. */
import { finished } from 'node:stream/promises';
import { join } from 'node:path';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { openInput } from '../../media/input.ts';
import type { MediaTools } from '../../process/locate.ts';
import { runTool } from '../../process/run.ts';
import { hearParts } from './parts.ts';
import { readWaveAgain } from './wave.ts';

export interface HeardPart {
  /** Sample of the clip, from its first frame, at which it begins. */
  readonly at: number;
  /** All channels as one. */
  readonly samples: Float64Array;
}

/** Seconds of a part: enough to be told from its neighbours, little enough to lie between two pauses; of a short overlap a quarter of it. */
const PART_SECONDS = 0.5;
const LEAST_PARTS = 4;
/** So many stretches at most; speech has pauses, and a few of them may be all pause. */
const MOST_STRETCHES = 6;

/** Takes interleaved samples of 32 bits as they come and keeps the loudest part of each stretch. */
export class LoudestParts {
  readonly #channels: number;
  readonly #part: number;
  readonly #from: number;
  readonly #each: number;
  readonly #kept: ({ energy: number } & HeardPart)[] = [];
  #rest: Buffer = Buffer.alloc(0);
  /** Sample of the clip that comes next. */
  #at: number;
  #filled = 0;
  #samples: Float64Array;

  /** `from`, `to`: of the clip, samples, end exclusive. `at`: of its first sample. */
  constructor(
    { channels, sampleRate }: Pick<AudioFacts, 'channels' | 'sampleRate'>,
    { from, to, at }: Record<'from' | 'to' | 'at', number>,
  ) {
    this.#channels = channels;
    this.#from = Math.max(from, at);
    const most = Math.floor(Math.max(0, to - this.#from) / LEAST_PARTS);
    this.#part = Math.max(1, Math.min(Math.round(PART_SECONDS * sampleRate), most));
    const parts = Math.floor((to - this.#from) / this.#part);
    const stretches = Math.max(1, Math.min(MOST_STRETCHES, parts));
    this.#each = Math.max(1, Math.floor(parts / stretches));
    this.#at = at;
    this.#samples = new Float64Array(this.#part);
    this.#end = this.#from + parts * this.#part;
  }

  readonly #end: number;

  take(chunk: Buffer): void {
    const bytes = this.#rest.length === 0 ? chunk : Buffer.concat([this.#rest, chunk]);
    const whole = 4 * this.#channels;
    const count = Math.floor(bytes.length / whole);
    for (let index = 0; index < count; index += 1, this.#at += 1) {
      if (this.#at < this.#from || this.#at >= this.#end) continue;
      let sum = 0;
      for (let channel = 0; channel < this.#channels; channel += 1)
        sum += bytes.readInt32LE(index * whole + 4 * channel);
      this.#samples[this.#filled] = sum;
      this.#filled += 1;
      if (this.#filled === this.#part) this.#endPart();
    }
    this.#rest = bytes.subarray(count * whole);
  }

  #endPart(): void {
    let energy = 0;
    for (let at = 1; at < this.#part; at += 1)
      energy += ((this.#samples[at] as number) - (this.#samples[at - 1] as number)) ** 2;
    const at = this.#at + 1 - this.#part;
    const stretch = Math.floor((at - this.#from) / this.#part / this.#each);
    const kept = this.#kept[stretch];
    if (energy > (kept?.energy ?? 0)) {
      this.#kept[stretch] = { energy, at, samples: this.#samples };
      this.#samples = new Float64Array(this.#part);
    }
    this.#filled = 0;
  }

  /** In order; a stretch of nothing but one value has none. */
  end(): HeardPart[] {
    return Object.values(this.#kept).map(({ at, samples }) => ({ at, samples }));
  }
}

export interface OwnAudioRequest {
  readonly rollFolder: string;
  readonly facts: ClipFacts;
  /** File of the clip, where it is one movie. */
  readonly file: string | null;
  /** Which of its tracks. */
  readonly index: number;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
}

/** Between these samples of the clip, end exclusive. null: it cannot be read. Throws what opening a file and starting a program throws. */
export async function ownAudio(
  request: OwnAudioRequest,
  range: Record<'from' | 'to', number>,
): Promise<HeardPart[] | null> {
  const { rollFolder, facts, file, index, tools, signal } = request;
  const track = facts.audio[index];
  if (track === undefined) return null;
  const loudest = new LoudestParts(track, { ...range, at: track.startOffset });
  const take = (part: Buffer): void => loudest.take(part);
  if (track.beside !== undefined) await readWaveAgain(join(rollFolder, track.beside.file), take);
  else if (facts.parts !== undefined)
    await hearParts({ rollFolder, facts, track, index, tools, signal }, take);
  else {
    if (file === null) return null;
    const input = await openInput(rollFolder, { kind: 'movie', file });
    try {
      await runTool(
        tools.ffmpeg.path,
        [
          ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'error', '-vn', ...input.args],
          ...['-map', `0:${track.streamIndex}`, '-c:a', 'pcm_s32le', '-f', 's32le', 'pipe:1'],
        ],
        {
          signal,
          onStdout: async (stream) => {
            stream.on('data', take);
            await finished(stream, { writable: false });
          },
        },
      );
    } finally {
      await input.dispose();
    }
  }
  signal.throwIfAborted();
  return loudest.end();
}
