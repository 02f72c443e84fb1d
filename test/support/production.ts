/** A clip with a recording beside it as a job, what is made of it, and what the checker says: for tests that lay production sound wrongly on purpose. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'vitest';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import { carriedOf } from '../../coordinator/survey/carried-sound.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import type { AudioFacts } from '../../media/facts.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { make } from '../../worker/make.ts';
import { hearSounds, withSounds } from '../../worker/sound.ts';
import { sharedFolder } from './folder.ts';
import { moviesOf } from './jobs.ts';
import { mediaTools } from './make.ts';
import { buildWave } from './wave.ts';

export const FRAMES = 36;
/** At 24000/1001 a frame lasts 2002 samples of 48 kHz. */
export const PICTURE = FRAMES * 2002;
/** Of clip and recording: 10:00:00:00 by its label is 36 036 s of the recorder's clock. */
export const LABEL = 36_036 * 48_000;
const signal = new AbortController().signal;
/** Of every take here. */
export const TRACKS = ['Boom', 'Mix', 'Lav of the founder'] as const;

/** Noise in bursts, by the number of the sample and the channel (mulberry32). */
export function yard(sample: number, channel: number): number {
  let mixed = Math.imul(sample + 7919 * channel, 0x6d2b79f5);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 1 | mixed);
  mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
  return (((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 31 - 1) * 0.5 * Math.exp(-(sample % 9600) / 3000);
}
/** Of a few hundred hertz, so that a clock moves it between samples without loss: what lies there can be said. */
export const slow = (sample: number, channel: number): number =>
  [211, 337, 523, 787, 1103].reduce(
    (sum, tone, index) =>
      sum +
      0.12 * Math.sin((2 * Math.PI * tone * (1 + channel / 7) * sample) / 48_000 + index * sample * 1e-5),
    0,
  );

/** Many tones that never come together alike, and known between samples: what a microphone of the camera hears beside a recorder of another clock. */
const voices = Array.from({ length: 90 }, (_, voice) => ({
  frequency: 90 + 2500 * (1 + 2 * yard(voice * 9600, 1)),
  phase: 2 * Math.PI * yard(voice * 9600, 2),
}));
export const crowd = (sample: number): number =>
  // It comes and goes, and is not there where clips begin: coders lose much of a sound that begins at once.
  Math.sin((Math.PI * (sample - 4800)) / 9600) ** 2 *
  voices.reduce(
    (sum, { frequency, phase }) => sum + 0.03 * Math.sin((2 * Math.PI * frequency * sample) / 48_000 + phase),
    0,
  );
/** In the first channel the crowd, in the others tones. */
export const slowAndCrowd = (sample: number, channel: number): number =>
  channel === 0 ? crowd(sample) : slow(sample, channel);

/** What the camera's own microphone heard of a take, by the camera's clock. */
export function writeScratch(path: string, take: Take, millionths: number): void {
  writeFileSync(
    path,
    buildWave({
      ...{ samples: PICTURE, channels: 1 },
      value: (sample) => take.value(sample * (1 + millionths / 1e6) - take.start, 0),
    }),
  );
}

export interface Take {
  readonly file: string;
  /** Against the first frame. */
  readonly start: number;
  readonly samples: number;
  readonly value: (sample: number, channel: number) => number;
}

/** What a take of 24 bits has at a sample; 0 where it has none. */
export const codeOf = (take: Take, sample: number, channel: number): number =>
  sample < 0 || sample >= take.samples ? 0 : Math.round(take.value(sample, channel) * 2 ** 23) || 0;

/** All channels in one file. */
export function writeTake(into: string, { file, start, samples, value }: Take): void {
  writeFileSync(join(into, file), buildWave({ samples, channels: 3, timeReference: LABEL + start, value }));
}

const filesOf = ({ file }: Take): string[] => TRACKS.map((_, index) => file.replace('.', `_${index + 1}.`));
/** A file a track. */
export function writeSet(into: string, take: Take): void {
  const { start, samples, value } = take;
  for (const [channel, file] of filesOf(take).entries())
    writeFileSync(
      join(into, file),
      buildWave({
        ...{ samples, channels: 1, timeReference: LABEL + start },
        value: (sample) => value(sample, channel),
      }),
    );
}

/** `form`: as `writeTake` or as `writeSet` wrote it. */
function recordingOf(take: Take, form: 'one file' | 'a file a track'): Recording {
  const { file, start, samples } = take;
  const files = form === 'one file' ? [file] : filesOf(take);
  return {
    ...{ files, sampleRate: 48_000, bits: 24, coding: 'integer', channels: 3, samples },
    ...{ since: String(LABEL + start), sinceRate: 48_000, scene: '24A', take: '3', tape: null, note: null },
    ...{ circled: false, wild: false, clips: [] },
    tracks: TRACKS.map((name, index) => ({
      ...{ channel: index + 1, name },
      ...(files.length === 1 ? { file, inFile: index + 1 } : { file: files[index] as string, inFile: 1 }),
    })),
  };
}
export const laid = (take: Take, heard: ClipBeside['heard'] = null): ClipBeside => ({
  ...{ roll: 'A001', clip: 'A001C001', startSamples: take.start, overlapSamples: PICTURE },
  ...{ heard, whyNotHeard: null },
});

export interface Beside {
  readonly beside: ClipBeside;
  readonly take: Take;
  readonly profile: string;
  /** Of the sound roll. */
  readonly folder: string;
  readonly form?: 'one file' | 'a file a track';
}

/** A job of a clip, as `jobFor` and the like give it, with a recording beside it. */
export async function withRecording(
  job: Job,
  { beside, take, profile, folder, form = 'one file' }: Beside,
): Promise<Job> {
  const { profiles } = await loadProfiles({ wanted: [`test/fixtures/profiles/small-sound-${profile}.yaml`] });
  const recording = recordingOf(take, form);
  const tracks = carriedOf({
    ...{ roll: 'S001', recording, beside, clip: job.facts },
    checksumOf: () => 'xxh3:0',
  });
  const facts = { ...job.facts, audio: [...job.facts.audio, ...tracks] };
  const deliverables = profiles.map(({ profile: one, hash }) => {
    const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip: job.clip, facts, profile: one });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(one, hash, decided.outcome);
  });
  const files = recording.files.map((path) => ({ path, bytes: 1 }));
  return {
    ...{ ...job, facts, deliverables },
    soundRolls: [{ roll: 'S001', folder, contentDigest: 'd', source: 's', files }],
  };
}

/** A file made by this job; it may be another one than that which is checked. */
export async function madeBy(job: Job) {
  const staged = join(
    mkdtempSync(join(sharedFolder, 'production-made-')),
    moviesOf(job)[0]?.outcome.fileName ?? 'none',
  );
  const made = await make({
    ...{ job, framePool: null, tools: await mediaTools(), threads: 2, signal },
    outputs: moviesOf(job).map((deliverable) => ({ deliverable, staged })),
    stallMilliseconds: 60_000,
    onFrames: () => undefined,
  });
  expect(made.watched.errors).toEqual([]);
  return { ...made, staged };
}

export async function checked(job: Job, made: Awaited<ReturnType<typeof madeBy>>): Promise<CheckReport> {
  const tools = await mediaTools();
  const [deliverable] = moviesOf(job);
  if (deliverable === undefined) throw new Error('no deliverable');
  const outcomes = moviesOf(job).map(({ outcome }) => outcome);
  return await checkDeliverable({
    path: made.staged,
    outcome: deliverable.outcome,
    checks: deliverable.profile.checks,
    sourceFacts: job.facts,
    sourceFingerprints: withSounds(made.fingerprints, await hearSounds(job, outcomes, { tools, signal })),
    encoded: made.bitstreams[0] ?? null,
    sketch: made.sketches[0] ?? null,
    tools,
  });
}

/** What the checker says of a recording as it was laid: codes, or what it heard. */
export async function heldAgainst(job: Job): Promise<unknown> {
  return await hearSounds(
    job,
    moviesOf(job).map(({ outcome }) => outcome),
    { tools: await mediaTools(), signal },
  ).catch((error: { findings?: { code: string }[] }) => error.findings?.map(({ code }) => code));
}

/** Of one track, 24 bits, as ffmpeg decodes it. */
export function heardOf(path: string, track: number): number[] {
  const bytes = execFileSync(
    'ffmpeg',
    ['-v', 'error', '-i', path, '-map', `0:a:${track}`, '-f', 's24le', '-ac', '1', '-'],
    { maxBuffer: 1 << 26 },
  );
  return Array.from({ length: bytes.length / 3 }, (_, at) => bytes.readIntLE(3 * at, 3));
}
export const codesOf = (made: CheckReport): string[] => made.findings.map(({ code }) => code);
export const changed = (job: Job, change: (track: AudioFacts) => AudioFacts): Job => ({
  ...job,
  facts: {
    ...job.facts,
    audio: job.facts.audio.map((track) => (track.recording === undefined ? track : change(track))),
  },
});
export const recorded = (
  track: AudioFacts,
  over: Partial<NonNullable<AudioFacts['recording']>>,
): AudioFacts => ({
  ...track,
  ...(track.recording === undefined ? {} : { recording: { ...track.recording, ...over } }),
});
/** Its sound rolls in another folder. */
export const moved = (job: Job, to: string): Job => ({
  ...job,
  soundRolls: (job.soundRolls ?? []).map((one) => ({ ...one, folder: to })),
});
