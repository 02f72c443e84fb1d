/** The outcome of one clip as a master, or why there is none. Pure: facts and profile alone decide, and every reason against it is reported at once. */
import type { ClipFacts } from '../../media/facts.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { fileNameOf, reelText } from '../outcome/file-name.ts';
import { reelOf } from '../outcome/reel.ts';
import type { Cadence } from '../cadence.ts';
import { amfOf } from './amf.ts';
import { masterBytes } from './bytes.ts';
import { carriedOf } from './carried.ts';
import type { MasterDecision } from './decision.ts';
import { bitsOf, dwaLevelOf, isLossy } from './form.ts';
import { about, groundOf, type MasterGround, type MasterRequest, uprightAspect } from './ground.ts';
import { movieMasterOf } from './movie.ts';
import type { MasterOutcome } from './outcome.ts';
import { sourceNamesOf } from './source-name.ts';
import { stretchOf } from './stretch.ts';
import type { FrameFormat, MasterProfile } from './schema.ts';
import type { Linearisation } from './linearisation.ts';

const EXTENSIONS = { exr: 'exr', aces: 'exr', dpx: 'dpx' } as const;

export function masterOf(request: MasterRequest): MasterDecision {
  const { format } = request.profile;
  const ground = groundOf(request);
  if (format === 'rdd36') return movieMasterOf(request, ground);
  if ('findings' in ground) return { outcome: null, findings: about(request, ground.findings) };
  return { outcome: framesOf(request, format, ground), notes: about(request, ground.notes) };
}

function framesOf(
  request: MasterRequest,
  format: FrameFormat,
  { linearisation, size, cadence: { rate, timecode, cadence }, parts }: MasterGround,
): MasterOutcome {
  const { facts, profile } = request;
  const { video } = facts;
  // The folder has no extension; the names of the frames have its name before their number.
  const stem = fileNameOf(profile.file_name, parts, 'x').replace(/\.x$/, '');
  const compression = format === 'exr' ? profile.compression : 'none';
  const whole = {
    format,
    compression,
    dwaLevel: isLossy({ compression }) ? dwaLevelOf({ dwaLevel: profile.dwa_level }) : null,
    bits: format === 'dpx' ? bitsOf(profile) : null,
    fileName: stem,
    stem,
    extension: EXTENSIONS[format],
    first: firstNumber(profile, timecode, facts),
    digits: profile.numbering.digits,
    frames: video.frames,
    stretch: null,
    rate,
    ...size,
    pixelAspect: uprightAspect(video),
    timecode,
    cadence,
    reel: reelOf(profile.reel, request),
    linearisation,
    ...saidOf(request, format, linearisation, cadence),
  };
  const decided = stretchOf(whole, request.clip.stretch);
  return {
    kind: 'frames',
    ...decided,
    amf: amfOf({
      stem,
      clipName: cleanedText(request.clip.name) ?? request.clip.id,
      contentDigest: request.clip.contentDigest,
      createdAt: facts.createdAt,
      timeZone: facts.interpretation?.timeZone,
      linearisation,
      holds: format === 'dpx' ? 'acescct' : 'aces2065-1',
      inputClf: profile.amf.input_clf,
      way: facts.way,
      // A whole clip has the identifiers that it had before there were stretches.
      of: { profile: profile.name, ...(decided.stretch === null ? withoutStretch(decided) : decided) },
    }),
    ...masterBytes({
      format,
      compression,
      bits: profile.bits,
      ...size,
      frames: decided.frames,
      learned: request.learned ?? null,
    }),
  };
}

function withoutStretch<Decided extends { readonly stretch: unknown }>({
  stretch: _,
  ...rest
}: Decided): Omit<Decided, 'stretch'> {
  return rest;
}

function firstNumber({ numbering }: MasterProfile, timecode: Timecode, facts: ClipFacts): number {
  if (numbering.from === 'one') return 1;
  if (numbering.from === 'timecode') return timecode.frame;
  return facts.firstNumber ?? 1;
}

/** Everything that the frames say of the source, and what they leave out. */
function saidOf(
  request: MasterRequest,
  format: FrameFormat,
  linearisation: Linearisation,
  cadence: Cadence,
): Pick<MasterOutcome, 'said' | 'source' | 'carried' | 'left'> {
  const {
    facts,
    profile: { header },
    clip: { place },
  } = request;
  const { raw, interpretation } = facts;
  const text = (own: string, settings: string | undefined): string | null =>
    cleanedText(own === '' ? (settings ?? '') : own);
  const ours = {
    owner: text(header.owner, interpretation?.owner),
    comments: text(header.comments, interpretation?.comments),
  };
  const { apart, carried, left } = carriedOf(facts, format, {
    ...ours,
    captured: cadence.offSpeed?.captured ?? null,
  });
  // Facts of frames that nobody asked for what they state.
  const camera = facts.stated === undefined ? raw?.camera : undefined;
  const label = apart.camera ?? camera?.label ?? null;
  const model = apart.model ?? camera?.model ?? null;
  const named = format === 'dpx' || apart.model === null ? (label ?? model) : label;
  return {
    said: {
      owner: ours.owner ?? cleanedText(apart.owner ?? ''),
      comments: ours.comments ?? cleanedText(apart.comments ?? ''),
      captured: apart.captured ?? exrDate(camera?.capturedAt ?? null),
      iso: apart.iso ?? camera?.iso ?? null,
      exposureSeconds: apart.exposureSeconds ?? camera?.exposureSeconds ?? null,
      whiteKelvin: linearisation.kind === 'raw' ? linearisation.white.kelvin : apart.whiteKelvin,
      camera: cleanedText(named ?? ''),
      serial: cleanedText(apart.serial ?? camera?.serial ?? ''),
    },
    source: sourceNamesOf(place, facts),
    carried,
    left,
  };
}

function cleanedText(text: string): string | null {
  const plain = reelText(text);
  return plain === '' ? null : plain;
}

/** ISO 8601 to the form of the attribute capDate, `YYYY:MM:DD hh:mm:ss`. */
function exrDate(iso: string | null): string | null {
  const match = /^(\d{4})-(\d{2})-(\d{2})T(\d{2}:\d{2}:\d{2})/.exec(iso ?? '');
  return match === null ? null : `${match[1]}:${match[2]}:${match[3]} ${match[4]}`;
}
