/** The outcome of one clip in one profile, or why there is none. Pure: facts and profile in, decision out. */
import { type Finding, finding, type FindingSubject, holds } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { formatRatio, isKnownRate, labelBase } from '../../media/rate.ts';
import { formatTimecode, mayDrop, type Timecode } from '../../media/timecode.ts';
import { rdd36TargetBits, soundFormats, traitsOf, vc3FrameBytes } from '../codecs.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { colourOf } from './colour.ts';
import { fileNameOf } from './file-name.ts';
import { levelFor } from './level.ts';
import { rasterOf } from './raster.ts';
import { soundOf } from './sound.ts';

export interface OutcomeRequest {
  readonly day: string;
  readonly roll: string;
  readonly clip: { readonly id: string; readonly name: string };
  readonly facts: ClipFacts;
  readonly profile: Profile;
}

/** `notes` stand beside an outcome and hold nothing. */
export type OutcomeDecision = { readonly outcome: Outcome; readonly notes: readonly Finding[] } | { readonly outcome: null; readonly findings: readonly Finding[] };

/** The start label in the delivered counting: the source's own, at the base of its rate. */
function startOf(facts: ClipFacts, profile: Profile, subject: FindingSubject): { timecode: Timecode | null; findings: Finding[] } {
  const { rate } = facts.video;
  const base = labelBase(rate);
  if (facts.timecode === null) {
    if (profile.timecode.missing === 'hold') return { timecode: null, findings: [finding('timecode-missing', 'no timecode', 'a start timecode', subject)] };
    return { timecode: { frame: 0, base, drop: false }, findings: [finding('timecode-assumed', 'no timecode', 'a start timecode; 00:00:00:00 is written', subject)] };
  }
  const source = facts.timecode;
  if (source.base === base && (!source.drop || mayDrop(rate))) return { timecode: source, findings: [] };
  // ST 12-1 above 30 frames a second: one label for two frames.
  if (source.base * 2 === base && (!source.drop || mayDrop(rate))) {
    return { timecode: { frame: source.frame * 2, base, drop: source.drop }, findings: [finding('timecode-in-pairs', `counted at ${source.base}`, `counted at ${base}`, subject)] };
  }
  return { timecode: null, findings: [finding('timecode-impossible', `${formatTimecode(source)} counted at ${source.base}`, `a count at ${base} (${formatRatio(rate)} frames/s)`, subject)] };
}

function reelOf({ facts, roll, clip, profile }: OutcomeRequest): string | null {
  if (profile.reel === 'none') return null;
  if (profile.reel === 'clip') return clip.name;
  return profile.reel === 'roll' ? roll : (facts.reel ?? roll);
}

function pictureBytes(profile: Profile, width: number, height: number, frames: number): number {
  const fixed = vc3FrameBytes(profile.video, width, height);
  if (fixed !== null) return fixed * frames;
  // Busy pictures take up to 1.7 times the encoder's aim (noise, measured).
  if (profile.video.codec === 'rdd36') return Math.ceil((rdd36TargetBits(profile.video.quality, width, height) * 17 * frames) / 80);
  // Common practice, no source: about 0.2 bits a pixel at crf 21, half as much for every 6 steps.
  const crf = profile.video.codec === 'h264' ? profile.video.crf : 21;
  return Math.ceil((width * height * frames * 0.2 * 2 ** ((21 - crf) / 6)) / 8);
}

function soundBytes(profile: Profile, audio: Outcome['audio']): number {
  const bytes = soundFormats[profile.audio.format].bytesPerSample;
  // AAC: ffmpeg's default of 128 kbit/s for a stereo track, taken for every two channels.
  return audio.reduce((sum, track) => sum + (bytes === null ? Math.ceil((track.samples / track.sampleRate) * 8_000 * track.channels) : track.samples * track.channels * bytes), 0);
}

export function outcomeOf(request: OutcomeRequest): OutcomeDecision {
  const { facts, profile, day, roll, clip } = request;
  const subject: FindingSubject = { roll, clip: clip.id, profile: profile.name };
  const { video } = facts;
  if (/^bayer_/.test(video.pixelFormat)) return { outcome: null, findings: [finding('picture-undeveloped', video.pixelFormat, 'a developed picture', subject)] };
  if (!isKnownRate(video.rate)) return { outcome: null, findings: [finding('rate-not-offered', `${formatRatio(video.rate)} frames/s`, 'a rate that timecode counts', subject)] };
  const findings: Finding[] = [];
  if ((video.fieldOrder === 'top-first' || video.fieldOrder === 'bottom-first') && profile.interlaced === 'hold') {
    findings.push(finding('interlaced-held', video.fieldOrder, 'progressive', subject));
  }
  const colour = colourOf(video, profile, subject);
  const start = startOf(facts, profile, subject);
  const sound = soundOf(facts, profile, subject);
  findings.push(...colour.findings, ...start.findings, ...sound.findings);
  const traits = traitsOf(profile.video);
  const { width, height } = rasterOf(video, profile.raster);
  const level = profile.video.codec === 'h264' ? levelFor(width, height, video.rate) : null;
  if (width < traits.smallest.width || height < traits.smallest.height) {
    findings.push(finding('raster-not-offered', `${width}x${height}`, `${traits.smallest.width}x${traits.smallest.height} or more for ${profile.video.codec}`, subject));
  } else if (profile.video.codec === 'h264' && level === null) {
    findings.push(finding('raster-not-offered', `${width}x${height} at ${formatRatio(video.rate)} frames/s`, 'within level 6.2', subject));
  }
  if (findings.some(holds)) return { outcome: null, findings };
  const range = traits.carriesFullRange ? colour.tags.range : 'limited';
  const reel = reelOf(request);
  const label = start.timecode === null ? '' : formatTimecode(start.timecode);
  const name = fileNameOf(profile.file_name, { clip: clip.id, roll, reel: reel ?? roll, day, profile: profile.name, timecode: label.replaceAll(/[:;]/g, '') });
  const outcome: Outcome = {
    fileName: `${name}.${profile.container}`,
    frames: video.frames,
    rate: video.rate,
    width,
    height,
    pixelFormat: traits.readBackAs ?? profile.pixel_format,
    colour: { ...colour.tags, range },
    container: profile.container,
    codec: traits.codec,
    codecTag: traits.tag,
    codecProfile: traits.profile,
    maxLevel: level,
    packetBytes: vc3FrameBytes(profile.video, width, height),
    timecode: start.timecode,
    reel,
    audio: sound.audio,
    estimatedBytes: pictureBytes(profile, width, height, video.frames) + soundBytes(profile, sound.audio) + 65_536,
  };
  return { outcome, notes: findings };
}
