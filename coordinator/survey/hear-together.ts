/** A few seconds of a clip's own audio and of a recording that ran with it, decoded, so that what both heard tells how they lie. */
import { finished } from 'node:stream/promises';
import type { Readable } from 'node:stream';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { openInput, type OpenedInput, openSoundFile } from '../../media/input.ts';
import { type HeardPart, runTogether } from '../../media/sound/together.ts';
import type { MediaTools } from '../../process/locate.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';

export interface ToHear {
  readonly clip: { readonly rollFolder: string; readonly clip: Clip; readonly facts: ClipFacts | null };
  readonly recording: Recording;
  /** Of the sound roll. */
  readonly folder: string;
  readonly beside: ClipBeside;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
}

/** Samples a second that both are compared at. */
const RATE = 48_000;
/** Seconds of a part, and by how much the times of clip and recorder may lie apart. */
const PART = 1;
const APART = 2;
/** Seconds that are left out at the ends: a part that lies a little beyond them would be found nowhere. */
const INSET = 0.1;
/** In a longer overlap more parts are heard: the more, the surer is the drift. */
const PARTS = [
  { from: 12, parts: 4 },
  { from: 3.5, parts: 3 },
  { from: 1.2, parts: 1 },
] as const;
const STALL_MILLISECONDS = 120_000;

const samplesOf = (seconds: number): number => Math.round(seconds * RATE);

/** Where the clip's audio is read, and the time in that file at which its first frame is seen. */
interface Scratch {
  readonly track: AudioFacts;
  readonly open: () => Promise<OpenedInput>;
  readonly firstFrame: number;
}

function scratchOf({ rollFolder, clip: { place }, facts }: ToHear['clip']): Scratch | null {
  const track = facts?.audio.find(({ recording }) => recording === undefined);
  if (facts === null || track === undefined) return null;
  if (place.kind === 'sequence') {
    const { sound } = place;
    return sound === undefined
      ? null
      : {
          track,
          open: () => openSoundFile(rollFolder, sound.file),
          firstFrame: -track.startOffset / track.sampleRate,
        };
  }
  const file = place.kind === 'movie' ? place.file : (place.parts[0]?.file ?? null);
  const { firstTime, timeBase } = place.kind === 'movie' ? facts.video : (facts.parts?.[0] ?? facts.video);
  return file === null
    ? null
    : {
        track,
        open: () => openInput(rollFolder, { kind: 'movie', file }),
        firstFrame: (firstTime * timeBase.num) / timeBase.den,
      };
}

/** Of a spanned clip the first part alone is heard. */
function secondsHeard({ clip, facts }: ToHear['clip']): number {
  const frames = clip.place.kind === 'spanned' ? facts?.parts?.[0]?.frames : facts?.video.frames;
  const { num, den } = facts?.video.rate ?? { num: 1, den: 1 };
  return ((frames ?? 0) * den) / num;
}

/** One part: samples of the clip from its first frame, and of the recording, both at `RATE`. */
interface Part {
  readonly clipSample: number;
  readonly recordingSample: number;
  readonly recordingSamples: number;
}

function partsOf({ recording, beside, clip }: ToHear, { firstFrame }: Scratch): Part[] {
  const start = beside.startSamples / recording.sampleRate;
  const length = recording.samples / recording.sampleRate;
  // A sound file that begins behind the first frame has nothing before it.
  const from = Math.max(0, start, -firstFrame) + INSET;
  const to = Math.min(secondsHeard(clip), start + length) - INSET;
  const count = PARTS.find((one) => to - from + 2 * INSET >= one.from)?.parts ?? 0;
  return Array.from({ length: count }, (_, part) => {
    const share = count === 1 ? 0.5 : part / (count - 1);
    const clipSample = samplesOf(from + (to - from - PART) * share);
    const middle = clipSample - samplesOf(start);
    const recordingSample = Math.max(0, middle - APART * RATE);
    return {
      clipSample,
      recordingSample,
      recordingSamples: Math.min(samplesOf(length), middle + (PART + APART) * RATE) - recordingSample,
    };
  });
}

/** All channels as one, whatever their loudspeakers. Before the first sample that there is, silence. */
const asOne = (channels: number): string =>
  `pan=mono|c0<${Array.from({ length: channels }, (_, channel) => `c${channel}`).join('+')},aresample=${RATE}:async=1:first_pts=0`;

const inputFrom = (seconds: number, samples: number, { args }: OpenedInput): string[] => [
  ...['-seek_timestamp', '1', '-ss', seconds.toFixed(9), '-t', (samples / RATE).toFixed(9)],
  ...args,
];

async function floatsOf(stream: Readable, into: Buffer[]): Promise<void> {
  stream.on('data', (bytes: Buffer) => into.push(bytes));
  await finished(stream, { writable: false });
}

/** As many as were asked for; what was not there is silent. */
function samplesIn(chunks: readonly Buffer[], count: number): Float32Array {
  const bytes = Buffer.concat(chunks);
  const samples = new Float32Array(count);
  for (let at = 0; at < count && 4 * at + 4 <= bytes.length; at += 1) samples[at] = bytes.readFloatLE(4 * at);
  return samples;
}

/** Channels of the first file of a take: of several files each has as many as the others, or one is enough. */
const channelsOf = ({ files, channels }: Recording): number =>
  channels % files.length === 0 ? channels / files.length : 1;

const not = (whyNotHeard: string): Pick<ClipBeside, 'heard' | 'whyNotHeard'> => ({
  heard: null,
  whyNotHeard,
});

/** Throws the signal's reason, and what the runner throws. */
export async function hearTogether(request: ToHear): Promise<Pick<ClipBeside, 'heard' | 'whyNotHeard'>> {
  const { recording, folder, tools, signal } = request;
  const scratch = scratchOf(request.clip);
  if (scratch === null) return not('the clip has no audio');
  const parts = partsOf(request, scratch);
  if (parts.length === 0) return not('they ran together for less than 1.2 s');
  const [file] = recording.files as [string];
  const opened: OpenedInput[] = [];
  try {
    const own = await scratch.open();
    opened.push(own);
    const recorded = await openSoundFile(folder, file);
    opened.push(recorded);
    const heard: Buffer[][] = parts.map(() => []);
    const others: Buffer[][] = parts.map(() => []);
    const { args, pipes } = commandOf(parts, { scratch, own, recorded, channels: channelsOf(recording) });
    const run = await runTool(tools.ffmpeg.path, args, {
      signal,
      stallMilliseconds: STALL_MILLISECONDS,
      pipes: pipes.map(
        ({ part, of }) =>
          (stream) =>
            floatsOf(stream, (of === 'clip' ? heard : others)[part] as Buffer[]),
      ),
    });
    signal.throwIfAborted();
    if (run.exitCode !== 0) return not('the audio of one of the two could not be decoded');
    const found = runTogether(
      parts.map(
        (part, index): HeardPart => ({
          clipSample: part.clipSample,
          heard: samplesIn(heard[index] as Buffer[], PART * RATE),
          recordingSample: part.recordingSample,
          recorded: samplesIn(others[index] as Buffer[], part.recordingSamples),
        }),
      ),
      RATE,
    );
    if (found === null) return not('nothing was surely heard in both');
    return {
      heard: { ...found, startSamples: Math.round((found.startSamples * recording.sampleRate) / RATE) },
      whyNotHeard: null,
    };
  } finally {
    for (const input of opened) await input.dispose();
  }
}

interface Sides {
  readonly scratch: Scratch;
  readonly own: OpenedInput;
  readonly recorded: OpenedInput;
  readonly channels: number;
}

function commandOf(
  parts: readonly Part[],
  { scratch, own, recorded, channels }: Sides,
): {
  readonly args: string[];
  readonly pipes: readonly { readonly part: number; readonly of: 'clip' | 'recording' }[];
} {
  const inputs: string[] = [];
  const outputs: string[] = [];
  const pipes: { readonly part: number; readonly of: 'clip' | 'recording' }[] = [];
  const output = (map: string, filter: string): void => {
    outputs.push('-map', map, '-af', filter, '-f', 'f32le', `pipe:${FIRST_PIPE + pipes.length}`);
  };
  for (const [part, { clipSample, recordingSample, recordingSamples }] of parts.entries()) {
    inputs.push(...inputFrom(scratch.firstFrame + clipSample / RATE, PART * RATE, own));
    output(`${2 * part}:${scratch.track.streamIndex}`, asOne(scratch.track.channels));
    pipes.push({ part, of: 'clip' });
    inputs.push(...inputFrom(recordingSample / RATE, recordingSamples, recorded));
    output(`${2 * part + 1}:0`, asOne(channels));
    pipes.push({ part, of: 'recording' });
  }
  return {
    args: ['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'error', ...inputs, ...outputs],
    pipes,
  };
}
