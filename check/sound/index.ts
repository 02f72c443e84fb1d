/**
 * Audio that does not come out of the one decoder, heard a second time: a sound file beside frames and a recording of a sound roll by the checker's own code, from their bytes;
 * parts of a spanned clip each alone. What it gives is what deliverables are held against; what the survey says of form, length and place is held against it.
 */
import { join } from 'node:path';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { AudioCollector, type UsedPart } from '../../proof/audio-collector.ts';
import type { AudioFingerprint } from '../../proof/audio-fingerprint.ts';
import type { MediaTools } from '../../process/locate.ts';
import { hearParts } from './parts.ts';
import { liesInPlace } from './place.ts';
import { hearRecording } from './recording.ts';
import { readWaveAgain, type WaveRead } from './wave.ts';

export interface HeardSound {
  readonly fingerprint: AudioFingerprint;
  /** Of its samples as they are stored; null: they are coded. */
  readonly sha256: string | null;
}

export interface HearRequest {
  readonly rollFolder: string;
  /** Of each sound roll that a track is taken from. */
  readonly soundRolls: readonly { readonly roll: string; readonly folder: string }[];
  readonly facts: ClipFacts;
  /** Which of the clip's tracks. */
  readonly index: number;
  /** The part of the track that any deliverable has time for. */
  readonly used: UsedPart;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
  readonly subject: FindingSubject;
}

/** null: a track of the clip itself that one decoder gives. Throws what reading throws. */
export async function hearSound(request: HearRequest): Promise<HeardSound | Finding | null> {
  const { facts, index, used } = request;
  const track = facts.audio[index];
  if (track === undefined) return null;
  const { channels, sampleRate, recording } = track;
  if (recording === undefined && track.beside === undefined && track.pieces === undefined) return null;
  const collector = new AudioCollector({ channels, sampleRate }, used);
  if (recording !== undefined) {
    const { soundRolls, subject } = request;
    const folder = soundRolls.find(({ roll }) => roll === recording.roll)?.folder;
    const about = { folder: folder ?? null, facts, track, recording, subject };
    const wrong = await hearRecording(about, (part) => collector.take(part));
    return wrong ?? { fingerprint: collector.end(), sha256: null };
  }
  return track.beside === undefined
    ? await hearJoined(request, track, collector)
    : await hearBeside(request, track, collector);
}

async function hearBeside(
  { rollFolder, facts, subject }: HearRequest,
  track: AudioFacts,
  collector: AudioCollector,
): Promise<HeardSound | Finding> {
  const { beside, channels, sampleRate, bitDepth, samples } = track;
  const file = beside?.file ?? '';
  const read = await readWaveAgain(join(rollFolder, file), (part) => collector.take(part));
  const text = (form: Pick<WaveRead, 'channels' | 'bits' | 'sampleRate' | 'samples'>): string =>
    `${form.samples} samples of ${form.bits} bits, ${form.channels} channels at ${form.sampleRate} Hz`;
  const expected = text({ channels, bits: bitDepth ?? 0, sampleRate, samples });
  const of = { ...subject, file };
  if (read === null || text(read) !== expected)
    return finding('sound-read-differs', read === null ? 'no samples' : text(read), expected, of);
  if (!liesInPlace(track, read, facts))
    return finding(
      'sound-read-differs',
      `begins ${track.startOffset} samples behind the first frame`,
      `where ${read.since} samples since midnight lie against its timecode`,
      of,
    );
  return { fingerprint: collector.end(), sha256: read.sha256 };
}

async function hearJoined(
  request: HearRequest,
  track: AudioFacts,
  collector: AudioCollector,
): Promise<HeardSound | Finding> {
  const { facts, index, subject } = request;
  const heard = await hearParts({ ...request, track }, (part) => collector.take(part));
  request.signal.throwIfAborted();
  const text = (parts: readonly number[], samples: number): string =>
    `${parts.join(' + ')} samples decoded of the parts, ${samples} with what lies between them`;
  const found = text(heard.decoded, heard.samples);
  const expected = text(
    (facts.parts ?? []).map(({ audio }) => audio[index]?.samples ?? 0),
    track.samples,
  );
  return found === expected
    ? { fingerprint: collector.end(), sha256: null }
    : finding('sound-read-differs', found, expected, subject);
}
