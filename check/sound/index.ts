/**
 * Audio that does not come out of the one decoder, heard a second time: a sound file beside frames by the checker's own code, from its bytes; parts of a spanned clip
 * each alone. What it gives is what deliverables are held against; what the survey says of form, length and place is held against it.
 */
import { join } from 'node:path';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { AudioCollector, type UsedPart } from '../../proof/audio-collector.ts';
import type { AudioFingerprint } from '../../proof/audio-fingerprint.ts';
import type { MediaTools } from '../../process/locate.ts';
import { hearParts } from './parts.ts';
import { readWaveAgain, type WaveRead } from './wave.ts';

export interface HeardSound {
  readonly fingerprint: AudioFingerprint;
  /** Of its samples as they are stored; null: they are coded. */
  readonly sha256: string | null;
}

const magnitude = (value: bigint): bigint => (value < 0n ? -value : value);

/**
 * Whether the track lies where the times of file and frames put it, to half a sample: all multiplied by what it would be divided by. Where one of them has no time, or the file has 0
 * and that is not within the picture, it begins with the picture.
 */
export function liesInPlace(
  { startOffset, samples, sampleRate }: Pick<AudioFacts, 'startOffset' | 'samples' | 'sampleRate'>,
  { since }: Pick<WaveRead, 'since'>,
  { video: { rate, frames }, timecode }: Pick<ClipFacts, 'video' | 'timecode'>,
): boolean {
  if (since === null || timecode === null) return startOffset === 0;
  // One second has num · base parts; a label lasts den · (frames a second of the label's clock) of them.
  const second = BigInt(rate.num) * BigInt(timecode.base);
  const label = BigInt(rate.den) * BigInt(Math.round(rate.num / rate.den));
  const perDay = BigInt(24 * 3600 * timecode.base - (timecode.drop ? 24 * 54 * 2 * (timecode.base / 30) : 0));
  const labelTime = BigInt(timecode.frame) * label * BigInt(sampleRate);
  const away = (days: bigint): bigint =>
    since * second - labelTime - days * perDay * label * BigInt(sampleRate);
  const [exact = 0n] = [away(0n), away(1n), away(-1n)].sort((a, b) =>
    magnitude(a) < magnitude(b) ? -1 : magnitude(a) > magnitude(b) ? 1 : 0,
  );
  if (2n * magnitude(BigInt(startOffset) * second - exact) <= second) return true;
  const picture = BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) * BigInt(timecode.base);
  const apart = exact >= picture || exact + BigInt(samples) * second <= 0n;
  return since === 0n && apart && startOffset === 0;
}

export interface HearRequest {
  readonly rollFolder: string;
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
  if (track === undefined || (track.beside === undefined && track.pieces === undefined)) return null;
  const { channels, sampleRate } = track;
  const collector = new AudioCollector({ channels, sampleRate }, used);
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
