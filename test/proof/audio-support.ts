/** Audio made, delivered by the recipe's filters and coders, spoiled, decoded, and compared with its source's fingerprints. */
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll } from 'vitest';
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
  whiteBursts:
    "aevalsrc='if(eq(n,0),st(0,11));1.98*(random(0)-0.5)*lt(mod(t,0.7),0.1)|if(eq(n,0),st(0,222));1.98*(random(0)-0.5)*lt(mod(t+0.4,2.1),0.05)':s=RATE",
  /** Pairs of tones, as keys of a telephone give them, and a tone that comes and goes. */
  keys: "aevalsrc='lt(mod(t,0.15),0.09)*0.3*(sin(2*PI*(697+80*mod(floor(t/0.15),4))*t)+sin(2*PI*(1209+130*mod(floor(t/0.15),3))*t))|lt(mod(t,0.2),0.07)*0.6*sin(2*PI*700*t)':s=RATE",
  square: "aevalsrc='0.5*(2*gt(sin(2*PI*220*t),0)-1)|0.5*(2*gt(sin(2*PI*1003*t),0)-1)':s=RATE",
  fullSquare: "aevalsrc='0.99*(2*gt(sin(2*PI*55*t),0)-1)|0.99*(2*gt(sin(2*PI*311*t),0)-1)':s=RATE",
  clipped:
    "aevalsrc='max(-0.99,min(0.99,4*sin(2*PI*150*t)*sin(2*PI*0.7*t)))|max(-0.99,min(0.99,6*sin(2*PI*700*t)*sin(2*PI*1.3*t)))':s=RATE",
  clicks: "aevalsrc='0.99*eq(mod(n,20011),77)|0.99*eq(mod(n,9973),5000)':s=RATE",
  silenceThenFull:
    "aevalsrc='if(eq(n,0),st(0,11));1.98*(random(0)-0.5)*gt(t,3.013)|0.99*sin(2*PI*440*t)*gt(t,2.501)':s=RATE",
  fullThenSilence: "aevalsrc='0.99*sin(2*PI*440*t)*lt(t,3.013)|0.99*sin(2*PI*1777*t)*lt(t,2.501)':s=RATE",
  sweeps:
    "aevalsrc='0.6*sin(2*PI*(100*mod(t,0.5)+7000*mod(t,0.5)*mod(t,0.5)))|0.6*sin(2*PI*(8000*mod(t,0.3)-13000*mod(t,0.3)*mod(t,0.3)))':s=RATE",
  /** A board clapped in a silent room. */
  slate:
    "aevalsrc='if(eq(n,0),st(0,11));2*(random(0)-0.5)*(0.001+0.95*gt(mod(t,2.3),1)*exp(-80*(mod(t,2.3)-1)))|if(eq(n,0),st(0,222));2*(random(0)-0.5)*(0.002+0.95*gt(mod(t,1.9),1.1)*exp(-30*(mod(t,1.9)-1.1)))':s=RATE",
  drums:
    "aevalsrc='0.9*exp(-15*mod(t,0.35))*sin(2*PI*(60*t+20*exp(-30*mod(t,0.35))))+0.2*exp(-60*mod(t,0.175))*2*(random(0)-0.5)|0.9*exp(-25*mod(t,0.5))*2*(random(1)-0.5)':s=RATE",
  noiseSteps:
    "aevalsrc='if(eq(n,0),st(0,11));pow(10,-mod(floor(t/0.5),6)/2)*1.9*(random(0)-0.5)|if(eq(n,0),st(0,222));pow(10,-5/2+mod(floor(t/0.5),6)/2)*1.9*(random(0)-0.5)':s=RATE",
  toneThenNoise:
    "aevalsrc='if(eq(n,0),st(0,11));0.3*sin(2*PI*440*t)*lt(t,4)+1.9*(random(0)-0.5)*gt(t,4)|if(eq(n,0),st(0,222));0.3*sin(2*PI*1440*t)*lt(t,5)+0.6*(random(0)-0.5)*gt(t,5)':s=RATE",
  door: "aevalsrc='if(eq(n,0),st(0,11));0.1*sin(2*PI*100*t)+1.9*(random(0)-0.5)*exp(-20*mod(t,2.9))|if(eq(n,0),st(0,222));0.01*sin(2*PI*1000*t)+1.9*(random(0)-0.5)*exp(-8*mod(t+0.45,2.9))':s=RATE",
  oneSilent:
    "aevalsrc='0|0.3*exp(-5*mod(t,1.7))*(sin(2*PI*523*t)+sin(2*PI*1277*t)+0.5*sin(2*PI*2711*t))':s=RATE",
  /** One channel. */
  pink: 'anoisesrc=c=pink:a=0.5:seed=5:r=RATE',
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

/** Options of ffmpeg for the source at `path`: its input and its output. */
function sourceArguments(
  path: string,
  signal: string,
  options: Delivery,
): { input: string[]; output: string[] } {
  const rate = options.sourceRate ?? 48000;
  return {
    // One second more, cut by a filter, so that the length is exact.
    input: [
      ...['-f', 'lavfi', '-i'],
      `${signal.replaceAll('RATE', String(rate))}:d=${options.sourceSamples / rate + 1}`,
    ],
    output: [
      ...['-af', `${pans[options.channels ?? 2]},atrim=end_sample=${options.sourceSamples}`],
      ...['-c:a', options.sourceCodec ?? 'pcm_s24le', path],
    ],
  };
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

/** What each file's audio decodes to, as whole numbers of 32 bits; one start of ffmpeg for all. */
async function decodedEach(paths: readonly string[]): Promise<Buffer[]> {
  const raw = (path: string): string => `${path}.s32le`;
  const result = await runForOutput('ffmpeg', [
    ...['-v', 'error', '-nostdin', '-y'],
    ...paths.flatMap((path) => ['-i', path]),
    ...paths.flatMap((path, index) => [
      ...['-map', `${index}:a:0`, '-c:a', 'pcm_s32le', '-f', 's32le', raw(path)],
    ]),
  ]);
  if (result.exitCode !== 0 || result.stderr !== '') throw new Error(result.stderr);
  return paths.map((path) => {
    const pcm = readFileSync(raw(path));
    rmSync(raw(path));
    return pcm;
  });
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

interface AudioSource {
  readonly path: string;
  readonly pcm: Buffer;
}
/** What was made already: nothing of it is changed afterwards. */
const sources = new Map<string, AudioSource>();

interface Wanted {
  readonly options: Delivery;
  readonly signal: string;
}

function keyOf({ options, signal }: Wanted): string {
  const { sourceSamples, sourceRate = 48000, channels = 2, sourceCodec = 'pcm_s24le' } = options;
  const recipe = JSON.stringify([signal, sourceSamples, sourceRate, channels, sourceCodec]);
  return createHash('sha256').update(recipe).digest('hex').slice(0, 16);
}

/** Sources' files, and what they decode to; equal sources are made once, all that are missing by one start of ffmpeg. */
async function sourcesOf(wanted: readonly Wanted[]): Promise<AudioSource[]> {
  // Other files of this run may make the same one at the same time.
  const folder = join(sharedFolder, 'audio', String(process.pid));
  mkdirSync(folder, { recursive: true });
  const missing = [...new Map(wanted.map((each) => [keyOf(each), each]))].filter(
    ([key]) => !sources.has(key),
  );
  if (missing.length > 0) {
    const paths = missing.map(([key]) => join(folder, `${key}.mov`));
    const made = missing.map(([, { options, signal }], index) =>
      sourceArguments(paths[index] as string, signal, options),
    );
    await ffmpeg(
      ...made.flatMap(({ input }) => input),
      ...made.flatMap(({ output }, index) => ['-map', `${index}:a`, ...output]),
    );
    for (const [index, pcm] of (await decodedEach(paths)).entries())
      sources.set((missing[index] as (typeof missing)[number])[0], { path: paths[index] as string, pcm });
  }
  return wanted.map((each) => sources.get(keyOf(each)) as AudioSource);
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

/**
 * Makes deliverables in `folder` and compares each with its source, each decoded from its file. All are made by one start of ffmpeg,
 * and decoded by one: a start takes longer than a few seconds of audio.
 */
export async function deliverEach(
  folder: string,
  deliveries: readonly Delivery[],
): Promise<{ comparison: AudioComparison }[]> {
  const wanted = deliveries.map((options) => ({ options, signal: options.signal ?? signals.speech }));
  const other = deliveries.map((options, index) => ({
    options,
    signal: options.instead ?? (wanted[index] as Wanted).signal,
  }));
  const made = await sourcesOf([...wanted, ...other]);
  const path = (index: number): string =>
    join(folder, `output-${index}.${deliveries[index]?.container ?? 'mov'}`);
  await ffmpeg(
    ...deliveries.flatMap(({ samples, rate = 48000 }, index) => [
      ...['-f', 'lavfi', '-i'],
      `testsrc2=s=64x64:r=24:d=${Math.max(1, Math.round((samples * 24) / rate)) / 24}`,
      ...['-i', (made[wanted.length + index] as AudioSource).path],
    ]),
    ...deliveries.flatMap((options, index) => {
      const { samples, codec, spoil, channels = 2 } = options;
      const spoilt =
        spoil === undefined ? [] : [spoil, `apad=whole_len=${samples}`, `atrim=end_sample=${samples}`];
      return [
        ...[
          '-map',
          `${2 * index}:v`,
          '-map',
          `${2 * index + 1}:a`,
          '-c:v',
          'libx264',
          '-preset',
          'ultrafast',
        ],
        ...['-filter:a', [...recipe(options), ...spoilt].join(','), '-c:a', codec],
        ...(codec === 'aac' ? ['-b:a', `${160 * channels}k`] : []),
        path(index),
      ];
    }),
  );
  const outputs = await decodedEach(deliveries.map((_, index) => path(index)));
  return deliveries.map((options, index) => {
    const { channels = 2, rate = 48000, sourceRate = 48000 } = options;
    const expected = expectedOf(options);
    const used = usedPart(sourceRate, rate, expected);
    const source = fingerprintsOfSource(made[index] as AudioSource, channels, sourceRate, used);
    return { comparison: compared(source, outputs[index] as Buffer, channels, rate, expected) };
  });
}

/** Before the tests of a describe or a file, all deliveries at once; then the comparison of each. */
export function comparedOnce(deliveries: readonly Delivery[]): (index: number) => AudioComparison {
  let made: { comparison: AudioComparison }[] = [];
  beforeAll(async () => {
    const folder = mkdtempSync(join(sharedFolder, 'audio-'));
    made = await deliverEach(folder, deliveries);
    rmSync(folder, { recursive: true });
  });
  return (index) => {
    const delivery = made[index];
    if (delivery === undefined) throw new Error(`delivery ${index} was not made`);
    return delivery.comparison;
  };
}
