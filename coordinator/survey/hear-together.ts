/** A few seconds of a clip's own audio and of a recording that ran with it, decoded, so that what both heard tells how they lie. */
import { finished } from 'node:stream/promises';
import type { Readable } from 'node:stream';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { openInput, type OpenedInput, openSoundFile } from '../../media/input.ts';
import { type HeardPart, runTogether, type Together } from '../../media/sound/together.ts';
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
/** Seconds by which the times of clip and recorder may lie apart. */
const APART = 2;
/** Seconds that are left out at the ends: a part that lies a little beyond them would be found nowhere. */
const INSET = 0.1;
/** In a longer overlap more parts are heard: the more, the surer is the drift, and the fewer of them fall into pauses. Never one alone. Seconds. */
const PARTS = [
  { from: 20, parts: 6, each: 1 },
  { from: 12, parts: 4, each: 1 },
  { from: 3.5, parts: 3, each: 1 },
  { from: 2.4, parts: 2, each: 1 },
  { from: 1.2, parts: 2, each: 0.5 },
] as const;
const STALL_MILLISECONDS = 120_000;

const samplesOf = (seconds: number): number => Math.round(seconds * RATE);

/** One file of the clip's own audio, and the time in it at which the frame is seen that `from` of the clip begins with. */
interface Scratch {
  readonly open: () => Promise<OpenedInput>;
  readonly firstFrame: number;
  /** Seconds of the clip that it holds. */
  readonly from: number;
  readonly to: number;
}

const trackOf = ({ facts }: ToHear['clip']): AudioFacts | null =>
  facts?.audio.find(({ recording }) => recording === undefined) ?? null;

/** Empty: the clip has no audio of its own. */
function scratchesOf({ rollFolder, clip: { place }, facts }: ToHear['clip'], track: AudioFacts): Scratch[] {
  if (facts === null) return [];
  const { num, den } = facts.video.rate;
  const secondsOf = (frames: number): number => (frames * den) / num;
  const to = secondsOf(facts.video.frames);
  if (place.kind === 'sequence') {
    const { sound } = place;
    if (sound === undefined) return [];
    const open = (): Promise<OpenedInput> => openSoundFile(rollFolder, sound.file);
    return [{ open, firstFrame: -track.startOffset / track.sampleRate, from: 0, to }];
  }
  const movie = (file: string) => (): Promise<OpenedInput> => openInput(rollFolder, { kind: 'movie', file });
  const seen = ({ firstTime, timeBase }: Pick<ClipFacts['video'], 'firstTime' | 'timeBase'>): number =>
    (firstTime * timeBase.num) / timeBase.den;
  if (place.kind === 'movie')
    return [{ open: movie(place.file), firstFrame: seen(facts.video), from: 0, to }];
  let frames = 0;
  return (facts.parts ?? []).map((part): Scratch => {
    const from = secondsOf(frames);
    frames += part.frames;
    return { open: movie(part.file), firstFrame: seen(part) - from, from, to: secondsOf(frames) };
  });
}

/** One part: samples of the clip from its first frame, and of the recording, both at `RATE`. */
interface Part {
  readonly scratch: Scratch;
  readonly clipSample: number;
  readonly clipSamples: number;
  readonly recordingSample: number;
  readonly recordingSamples: number;
}

/** A part that would lie over the joint of two files is moved into the one that has more of it. */
function within(
  scratches: readonly Scratch[],
  at: number,
  each: number,
): { scratch: Scratch; at: number } | null {
  const has = ({ from, to }: Scratch): number => Math.min(to, at + each) - Math.max(from, at);
  const [most] = scratches.toSorted((one, other) => has(other) - has(one));
  if (most === undefined || most.to - most.from < each) return null;
  return { scratch: most, at: Math.min(Math.max(at, most.from), most.to - each) };
}

function partsOf({ recording, beside }: ToHear, scratches: readonly Scratch[]): Part[] {
  const start = beside.startSamples / recording.sampleRate;
  const length = recording.samples / recording.sampleRate;
  const [first, last] = [scratches[0] as Scratch, scratches.at(-1) as Scratch];
  // A sound file that begins behind the first frame has nothing before it.
  const from = Math.max(0, start, -first.firstFrame) + INSET;
  const to = Math.min(last.to, start + length) - INSET;
  const row = PARTS.find((one) => to - from + 2 * INSET >= one.from);
  if (row === undefined) return [];
  const { parts, each } = row;
  return Array.from({ length: parts }, (_, part) => part / (parts - 1)).flatMap((share): Part[] => {
    const placed = within(scratches, from + (to - from - each) * share, each);
    if (placed === null) return [];
    const clipSample = samplesOf(placed.at);
    const clipSamples = samplesOf(each);
    const middle = clipSample - samplesOf(start);
    const recordingSample = Math.max(0, middle - APART * RATE);
    const recordingSamples =
      Math.min(samplesOf(length), middle + clipSamples + APART * RATE) - recordingSample;
    return [{ scratch: placed.scratch, clipSample, clipSamples, recordingSample, recordingSamples }];
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

export type Heard = Pick<ClipBeside, 'heard' | 'apart' | 'whyNotHeard'>;
const not = (whyNotHeard: string): Heard => ({ heard: null, whyNotHeard });

/** Throws the signal's reason, and what the runner throws. */
export async function hearTogether(request: ToHear): Promise<Heard> {
  const { recording, folder, tools, signal } = request;
  const track = trackOf(request.clip);
  const scratches = track === null ? [] : scratchesOf(request.clip, track);
  if (track === null || scratches.length === 0) return not('the clip has no audio');
  const parts = partsOf(request, scratches);
  if (parts.length < 2) return not('they ran together for less than 1.2 s');
  const [file] = recording.files as [string];
  const opened: OpenedInput[] = [];
  try {
    const own = new Map<Scratch, OpenedInput>();
    for (const scratch of new Set(parts.map((part) => part.scratch))) {
      const input = await scratch.open();
      opened.push(input);
      own.set(scratch, input);
    }
    const recorded = await openSoundFile(folder, file);
    opened.push(recorded);
    const heard: Buffer[][] = parts.map(() => []);
    const others: Buffer[][] = parts.map(() => []);
    const { args, pipes } = commandOf(parts, { track, own, recorded, channels: channelsOf(recording) });
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
    const together = runTogether(
      parts.map(
        (part, index): HeardPart => ({
          clipSample: part.clipSample,
          heard: samplesIn(heard[index] as Buffer[], part.clipSamples),
          recordingSample: part.recordingSample,
          recorded: samplesIn(others[index] as Buffer[], part.recordingSamples),
        }),
      ),
      RATE,
    );
    return saidOf(together, recording.sampleRate);
  } finally {
    for (const input of opened) await input.dispose();
  }
}

/** In samples of the recording. */
function saidOf(together: Together, sampleRate: number): Heard {
  const inOwn = (samples: number): number => Math.round((samples * sampleRate) / RATE);
  if (together.kind === 'found')
    return {
      heard: { ...together.found, startSamples: inOwn(together.found.startSamples) },
      whyNotHeard: null,
    };
  const places = together.heard.map(({ clipSample, startSamples }) => ({
    seconds: Math.round((clipSample / RATE) * 1000) / 1000,
    startSamples: inOwn(startSamples),
  }));
  if (together.kind === 'apart') return { ...not('what was heard in both does not agree'), apart: places };
  const [only] = places;
  return not(
    only === undefined
      ? 'nothing was surely heard in both'
      : `surely heard at one place alone: at ${only.seconds.toFixed(1)} s, by which the recording would begin ${only.startSamples} samples from the first frame`,
  );
}

interface Sides {
  readonly track: AudioFacts;
  readonly own: ReadonlyMap<Scratch, OpenedInput>;
  readonly recorded: OpenedInput;
  readonly channels: number;
}

function commandOf(
  parts: readonly Part[],
  { track, own, recorded, channels }: Sides,
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
  for (const [part, one] of parts.entries()) {
    const { scratch, clipSample, clipSamples, recordingSample, recordingSamples } = one;
    const input = own.get(scratch) as OpenedInput;
    inputs.push(...inputFrom(scratch.firstFrame + clipSample / RATE, clipSamples, input));
    output(`${2 * part}:${track.streamIndex}`, asOne(track.channels));
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
