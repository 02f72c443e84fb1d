/**
 * A recording of a sound roll as the checker hears it: its own walk through the file, its own channels, its own place beside the clip, and where the recorder's clock is taken out
 * its own interpolation. Through ffmpeg, of which nothing is used here, the samples come into a deliverable.
 */
import { type FileHandle, open } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../../files/names.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { AudioFacts, ClipFacts, RecordedTrack } from '../../media/facts.ts';
import { interpolated, REACH } from './interpolate.ts';
import { liesInPlace, liesNear } from './place.ts';
import { channelsFrom, FULL } from './samples.ts';
import { type WaveForm, waveForm } from './wave.ts';

export interface RecordingRequest {
  /** Of the sound roll; null: the job does not name it. */
  readonly folder: string | null;
  readonly facts: Pick<ClipFacts, 'video' | 'timecode'>;
  readonly track: AudioFacts;
  readonly recording: RecordedTrack;
  readonly subject: FindingSubject;
}

/** Samples that are given at a time. */
const AT_ONCE = 1 << 15;
/** What both heard is looked for two seconds around where their times put it; another take lies farther away. */
const MOST_APART_SECONDS = 3;

/** Gives the samples of the track as signed 32-bit words, little-endian; null: they were given whole. Throws what reading throws. */
export async function hearRecording(
  request: RecordingRequest,
  take: (samples: Buffer) => void,
): Promise<Finding | null> {
  const { folder, track, recording, subject } = request;
  const of = { ...subject, file: recording.file };
  const differs = (found: string, expected: string): Finding =>
    finding('sound-read-differs', found, expected, of);
  if (folder === null) return differs('no folder of its sound roll', `the folder of ${recording.roll}`);
  const handle = await open(fsPath(join(folder, recording.file)), 'r');
  try {
    const form = await waveForm(handle);
    const text = ({ channels, bits, rate }: { channels: number; bits: number; rate: number }): string =>
      `${bits} bits at ${rate} Hz, ${channels} channels or more`;
    const wanted = {
      bits: track.bitDepth ?? 0,
      rate: track.sampleRate,
      channels: Math.max(...recording.channels),
    };
    if (form === null) return differs('no samples', text(wanted));
    const found = { bits: form.width * 8, rate: form.sampleRate, channels: form.channels };
    if (found.bits !== wanted.bits || found.rate !== wanted.rate || found.channels < wanted.channels)
      return differs(text(found), text(wanted));
    if (!isPlaced(form, request))
      return differs(
        `begins ${recording.startSamples} samples behind the first frame`,
        recording.laidBy === 'timecode'
          ? `where ${form.since} samples since midnight lie against its timecode`
          : `within ${MOST_APART_SECONDS} s of where ${form.since} samples since midnight lie against its timecode`,
      );
    const given = await give({ handle, form, track, recording }, take);
    return given === track.samples
      ? null
      : differs(`${given} samples beside the clip`, `${track.samples} samples beside the clip`);
  } finally {
    await handle.close();
  }
}

/** Whether the track begins where the recording was laid, and whether it was laid by the times of both where it says so. */
function isPlaced(form: WaveForm, { track, recording, facts }: RecordingRequest): boolean {
  const { startSamples, driftMillionths, from, sinceRate, laidBy } = recording;
  const begins = Math.max(0, startSamples) / (1 + driftMillionths / 1e6);
  if (from !== Math.max(0, -startSamples) || Math.abs(track.startOffset - begins) > 0.5) return false;
  const picture = Math.ceil(
    (facts.video.frames * facts.video.rate.den * form.sampleRate) / facts.video.rate.num,
  );
  if (track.startOffset + track.samples > picture) return false;
  if (form.since === null) return false;
  // Counted in other samples than those of the file it falls between two of these.
  const top = form.since * BigInt(form.sampleRate);
  const below = top / BigInt(sinceRate);
  if (laidBy === 'content')
    return liesNear({ startSamples, seconds: MOST_APART_SECONDS, sampleRate: form.sampleRate }, below, facts);
  if (driftMillionths !== 0) return false;
  const place = { startOffset: startSamples, samples: form.samples, sampleRate: form.sampleRate };
  return [below, ...(top % BigInt(sinceRate) === 0n ? [] : [below + 1n])].some((since) =>
    liesInPlace(place, { since }, facts),
  );
}

interface Giving {
  readonly handle: FileHandle;
  readonly form: WaveForm;
  readonly track: AudioFacts;
  readonly recording: RecordedTrack;
}

/** How many samples were given. */
async function give(giving: Giving, take: (samples: Buffer) => void): Promise<number> {
  const { form, track, recording } = giving;
  const { from, driftMillionths } = recording;
  const step = 1 + driftMillionths / 1e6;
  let given = 0;
  while (given < track.samples) {
    const count = Math.min(AT_ONCE, track.samples - given);
    const first = from + given * step;
    const isExact = driftMillionths === 0;
    const left = isExact ? first : Math.floor(first) - REACH;
    const wanted = isExact ? count : Math.ceil(count * step) + 2 * REACH + 2;
    const channels = await channelsFrom({ ...giving, channels: recording.channels }, left, wanted);
    const whole = isExact ? (channels[0]?.length ?? 0) : count;
    // What lies behind the end of the file is none of it: an interpolated track must not run on into that.
    const there = isExact ? whole : Math.min(count, Math.floor((form.samples - 1 - first) / step + 1e-9) + 1);
    if (there <= 0) return given;
    const out = Buffer.alloc(4 * channels.length * there);
    for (const [channel, samples] of channels.entries()) {
      const values = isExact ? samples : interpolated(samples, { first: first - left, step, count: there });
      for (let at = 0; at < there; at += 1)
        out.writeInt32LE(clipped(values[at] as number), 4 * (at * channels.length + channel));
    }
    take(out);
    given += there;
    if (there < count) return given;
  }
  return given;
}

const clipped = (value: number): number => Math.min(FULL - 1, Math.max(-FULL, halfToEven(value)));

function halfToEven(value: number): number {
  const rounded = Math.round(value);
  return Math.abs(value % 1) === 0.5 && rounded % 2 !== 0 ? rounded - 1 : rounded;
}
