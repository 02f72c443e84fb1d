/** Audio made, delivered by the recipe's filters and coders, spoiled, decoded, and compared with its source's fingerprints. */
import { createHash } from 'node:crypto';
import { mkdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { runForOutput } from '../../process/run.ts';
import { AudioCollector } from '../../proof/audio-collector.ts';
import { compareAudio } from '../../proof/audio-compare.ts';
import type { AudioComparison } from '../../proof/audio-difference.ts';
import { AudioListener } from '../../proof/audio-listener.ts';
import { type ExpectedAudio, lowFrequencyChannel, usedPart } from '../../proof/audio-plan.ts';
import type { AudioFingerprint } from '../../proof/audio-fingerprint.ts';
import { sharedFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

export const audioCodecs = ['pcm_s24le', 'pcm_s16le', 'aac'] as const;
export type AudioCodec = (typeof audioCodecs)[number];

/** White noise, each channel from a seed of its own. */
function noiseOf(left: number, right: number): string {
  return `aevalsrc='if(eq(n,0),st(0,${left}));0.3*(random(0)-0.5)|if(eq(n,0),st(0,${right}));0.3*(random(0)-0.5)':s=RATE`;
}

/** Audio of lavfi, two channels at least where `|` parts them; RATE stands for the rate. */
export const signals = {
  /** Words: bursts of a voice with moving pitch, pauses between. */
  speech:
    "aevalsrc='0.3*pow(max(0,sin(2*PI*0.9*t)),2)*(0.6+0.4*sin(2*PI*4.3*t))*(sin(2*PI*(120*t+3*sin(2*PI*0.7*t)))+0.5*sin(2*PI*3*(120*t+3*sin(2*PI*0.7*t)))+0.3*sin(2*PI*9*(120*t+3*sin(2*PI*0.7*t)))+0.2*(random(0)-0.5))|0.3*pow(max(0,sin(2*PI*0.61*t+1)),2)*(0.6+0.4*sin(2*PI*3.1*t))*(sin(2*PI*(190*t+3*sin(2*PI*0.9*t)))+0.5*sin(2*PI*4*(190*t+3*sin(2*PI*0.9*t)))+0.2*(random(1)-0.5))':s=RATE",
  noise: noiseOf(11, 2222),
  otherNoise: noiseOf(33333, 444444),
  bells:
    "aevalsrc='0.3*exp(-5*mod(t,1.7))*(sin(2*PI*523*t)+sin(2*PI*1277*t)+0.5*sin(2*PI*2711*t))|0.3*exp(-4*mod(t+0.4,1.3))*(sin(2*PI*392*t)+sin(2*PI*1061*t)+0.5*sin(2*PI*2203*t))':s=RATE",
  sine: "aevalsrc='0.3*sin(2*PI*440*t)|0.3*sin(2*PI*557*t)':s=RATE",
  tick: "aevalsrc='0.9*lt(mod(t,0.71),0.0002)|0.9*lt(mod(t+0.3,0.53),0.0002)':s=RATE",
  hush: "aevalsrc='0.00002*(random(0)-0.5)|0.00002*(random(1)-0.5)':s=RATE",
  silence: "aevalsrc='0|0':s=RATE",
} as const;

export interface Delivery {
  readonly signal?: string;
  readonly sourceRate?: number;
  readonly rate?: number;
  /** Of three, all are equal. */
  readonly channels?: 1 | 2 | 3 | 6;
  /** Samples of the source, of the output. */
  readonly sourceSamples: number;
  readonly samples: number;
  readonly offset?: number;
  readonly codec: AudioCodec;
  readonly container?: 'mov' | 'mp4';
  readonly sourceCodec?: string;
  /** Filters that spoil the delivered audio, before it is encoded. */
  readonly spoil?: string;
  /** What is delivered instead of the source. */
  readonly instead?: string;
}

const pans: Record<number, string> = {
  1: 'pan=mono|c0=c0',
  2: 'anull',
  3: 'pan=3.0|c0=c0|c1=c0|c2=c0',
  6: 'pan=5.1|c0=c0|c1=c1|c2=0.5*c0+0.5*c1|c3=0.3*c0|c4=0.7*c0-0.4*c1|c5=0.2*c1',
};

async function makeSource(path: string, signal: string, options: Delivery): Promise<void> {
  const rate = options.sourceRate ?? 48000;
  // One second more, cut by a filter, so that the length is exact.
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    `${signal.replaceAll('RATE', String(rate))}:d=${options.sourceSamples / rate + 1}`,
    '-af',
    `${pans[options.channels ?? 2]},atrim=end_sample=${options.sourceSamples}`,
    '-c:a',
    options.sourceCodec ?? 'pcm_s24le',
    path,
  );
}

/** Exactly what profiles/recipe/encode.ts says. */
function recipe({ offset = 0, rate = 48000, samples }: Delivery): string[] {
  const start =
    offset > 0
      ? ['aresample', `adelay=delays=${offset}S:all=1`]
      : offset < 0
        ? [`atrim=start_sample=${-offset}`, 'asetpts=N/SR/TB']
        : [];
  return [
    'asetpts=N/SR/TB',
    ...start,
    `aresample=${rate}`,
    `apad=whole_len=${samples}`,
    `atrim=end_sample=${samples}`,
  ];
}

export async function decoded(path: string, track = 0): Promise<Buffer> {
  const result = await runForOutput(
    'ffmpeg',
    [
      '-v',
      'error',
      '-nostdin',
      '-i',
      path,
      '-map',
      `0:a:${track}`,
      '-c:a',
      'pcm_s32le',
      '-f',
      's32le',
      'pipe:1',
    ],
    { limitBytes: 2 ** 30 },
  );
  if (result.exitCode !== 0 || result.stderr !== '') throw new Error(result.stderr);
  return result.stdout;
}

/** Fed in chunks that end anywhere. */
export function feed(target: { take(chunk: Buffer): void }, pcm: Buffer, size = 65_521): void {
  for (let at = 0; at < pcm.length; at += size) target.take(pcm.subarray(at, at + size));
}

export function fingerprintsOf(
  pcm: Buffer,
  channels: number,
  sampleRate: number,
  used?: { start: number; end: number },
): AudioFingerprint {
  const collector = new AudioCollector({ channels, sampleRate }, used);
  feed(collector, pcm);
  return collector.end();
}

export function compared(
  source: AudioFingerprint,
  pcm: Buffer,
  channels: number,
  sampleRate: number,
  expected: ExpectedAudio,
): AudioComparison {
  const listener = new AudioListener(source, { channels, sampleRate }, expected);
  feed(listener, pcm, 40_009);
  return compareAudio(source, listener.end(), expected);
}

export function expectedOf(options: Delivery): ExpectedAudio {
  const { offset = 0, samples, codec, sourceRate = 48000, rate = 48000 } = options;
  const precision = codec === 'aac' || sourceRate !== rate ? null : codec === 'pcm_s16le' ? 16 : 24;
  return {
    offset,
    samples,
    precision,
    tolerance: codec === 'aac' ? 1024 : 0,
    lowFrequency: options.channels === 6 ? lowFrequencyChannel('5.1') : null,
  };
}

export interface AudioSource {
  readonly path: string;
  readonly pcm: Buffer;
}
/** What was made already: nothing of it is changed afterwards. */
const sources = new Map<string, Promise<AudioSource>>();

async function madeSource(path: string, signal: string, options: Delivery): Promise<AudioSource> {
  mkdirSync(dirname(path), { recursive: true });
  await makeSource(path, signal, options);
  return { path, pcm: await decoded(path) };
}

/** A source's file, and what it decodes to; equal sources are made once. */
export function sourceOf(options: Delivery, signal = options.signal ?? signals.speech): Promise<AudioSource> {
  const { sourceSamples, sourceRate = 48000, channels = 2, sourceCodec = 'pcm_s24le' } = options;
  const recipe = JSON.stringify([signal, sourceSamples, sourceRate, channels, sourceCodec]);
  const key = createHash('sha256').update(recipe).digest('hex').slice(0, 16);
  const known = sources.get(key);
  if (known !== undefined) return known;
  // Other files of this run may make the same one at the same time.
  const source = madeSource(join(sharedFolder, 'audio', String(process.pid), `${key}.mov`), signal, options);
  sources.set(key, source);
  return source;
}

const taken = new Map<string, AudioFingerprint>();

/** Of equal parts of one source taken once: many deliverables are held against it. */
function fingerprintsOfSource(
  source: AudioSource,
  channels: number,
  sampleRate: number,
  used: ReturnType<typeof usedPart>,
): AudioFingerprint {
  const key = JSON.stringify([source.path, channels, sampleRate, used]);
  const known = taken.get(key) ?? fingerprintsOf(source.pcm, channels, sampleRate, used);
  taken.set(key, known);
  return known;
}

/** Makes a deliverable in `folder` and compares it with its source, each decoded from its file. */
export async function deliver(
  folder: string,
  options: Delivery,
  source: AudioSource,
): Promise<{ comparison: AudioComparison; output: Buffer }> {
  const channels = options.channels ?? 2;
  const rate = options.rate ?? 48000;
  const outputPath = join(folder, `output.${options.container ?? 'mov'}`);
  const from = options.instead === undefined ? source.path : (await sourceOf(options, options.instead)).path;
  const filters = [
    ...recipe(options),
    ...(options.spoil === undefined
      ? []
      : [options.spoil, `apad=whole_len=${options.samples}`, `atrim=end_sample=${options.samples}`]),
  ];
  await ffmpeg(
    ...[
      '-f',
      'lavfi',
      '-i',
      `testsrc2=s=64x64:r=24:d=${Math.max(1, Math.round((options.samples * 24) / rate)) / 24}`,
      '-i',
      from,
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'libx264',
      '-preset',
      'ultrafast',
    ],
    ...[
      '-filter:a',
      filters.join(','),
      '-c:a',
      options.codec,
      ...(options.codec === 'aac' ? ['-b:a', `${160 * channels}k`] : []),
      outputPath,
    ],
  );
  const expected = expectedOf(options);
  const output = await decoded(outputPath);
  const fingerprints = fingerprintsOfSource(
    source,
    channels,
    options.sourceRate ?? 48000,
    usedPart(options.sourceRate ?? 48000, rate, expected),
  );
  return { comparison: compared(fingerprints, output, channels, rate, expected), output };
}
