/** Options of one output file: picture codec, audio, timecode, container. */
import type { ClipFacts } from '../../media/facts.ts';
import { PAYLOAD_HASH, unitFilters } from '../../proof/bitstream.ts';
import { gamutOfLimiting } from '../../media/colour/output/displays.ts';
import { sitings } from '../../media/colour/siting.ts';
import { PLACEHOLDER } from '../../proof/light/form.ts';
import { roundedDivision, safeNumber } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { encoderOf, encoderProfile, pixelsForFfmpeg, presets } from '../ffmpeg-names.ts';
import { keptPixels } from '../lossless-pixel-formats.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { audioOptions } from './audio.ts';
import { teeFile } from './escape.ts';

/** x264 gives other bytes with other thread counts, so the count is part of the recipe and not of the machine. */
const X264_THREADS = 4;

/** In steps of 0.00002, and of 0.0001 cd/m² (H.265, D.3.28). In other words x265 warns, exits with 0 and writes nothing. */
function displayText({ primaries, peak, black }: NonNullable<Outcome['masteringDisplay']>): string {
  const { red, green, blue, white } = gamutOfLimiting(primaries);
  const place = ([x, y]: readonly [number, number]): string =>
    `(${Math.round(x * 50_000)},${Math.round(y * 50_000)})`;
  const luminance = (value: number): number => Math.round(value * 10_000);
  return `G${place(green)}B${place(blue)}R${place(red)}WP${place(white)}L(${luminance(peak)},${luminance(black)})`;
}

/**
 * The same of x265: pictures that are encoded at a time, and threads. With two at a time bytes are others than with one.
 * Every key frame begins afresh; no message says what program this was, whose text differs between machines.
 */
function x265Parameters(outcome: Outcome, keyFrames: number): string {
  const { chromaSiting, contentLight, masteringDisplay } = outcome;
  return [
    'frame-threads=1',
    'pools=4',
    'info=0',
    'open-gop=0',
    `keyint=${keyFrames}`,
    // It then states the error of what it made; its bytes are the same.
    'psnr=1',
    'log-level=info',
    ...(masteringDisplay === null ? [] : [`master-display=${displayText(masteringDisplay)}`]),
    // Measured while it is encoded, and written afterwards (worker/content-light.ts).
    ...(contentLight === null ? [] : [`max-cll=${PLACEHOLDER.greatest},${PLACEHOLDER.average}`]),
    ...(chromaSiting === null ? [] : [`chromaloc=${sitings.indexOf(chromaSiting)}`]),
  ].join(':');
}

/**
 * Version 3; range coder, which depths above 8 need in any case; one frame a group, so that each stands by itself; a checksum in each slice.
 * The small set of contexts: with contexts that begin again in every slice of every frame the large one learns less than it costs (3 % larger at
 * 1080p with grain, measured). Slices are counted here and coded each by itself, so that bytes do not depend on threads.
 */
function ffv1Options(pixelFormat: string, slices: number, threads: number): string[] {
  const pixels = keptPixels(pixelFormat);
  if (pixels === null) throw new RangeError('a recipe was asked for what the profile refuses');
  return [
    '-c:v',
    'ffv1',
    '-level:v',
    '3',
    '-coder',
    '1',
    '-context',
    '0',
    '-g',
    '1',
    '-slices',
    String(slices),
    '-slicecrc',
    '1',
    '-pix_fmt',
    pixels.encodedAs,
    '-threads:v',
    String(threads),
  ];
}

/** What of a profile decides about its encoder. */
type EncodedAs = Pick<Profile, 'video' | 'pixels'>;

function pictureOptions(facts: ClipFacts, profile: EncodedAs, outcome: Outcome, threads: number): string[] {
  const { video } = profile;
  if (video.codec === 'ffv1')
    return ffv1Options(facts.video.pixelFormat, outcome.exact?.slices ?? video.slices, threads);
  const common = [
    '-c:v',
    encoderOf(video),
    '-profile:v',
    encoderProfile(video),
    '-pix_fmt',
    pixelsForFfmpeg(profile.pixels),
  ];
  if (video.codec !== 'h264' && video.codec !== 'h265') return [...common, '-threads:v', String(threads)];
  const keyFrames = safeNumber(
    roundedDivision(BigInt(video.key_frame_seconds) * BigInt(outcome.rate.num), BigInt(outcome.rate.den)),
  );
  if (video.codec === 'h265')
    return [
      ...common,
      '-preset',
      presets[video.speed],
      '-crf',
      String(video.quality),
      '-tag:v',
      outcome.codecTag,
      '-x265-params',
      x265Parameters(outcome, keyFrames),
    ];
  const level =
    outcome.maxLevel === null
      ? []
      : ['-level:v', `${Math.floor(outcome.maxLevel / 10)}.${outcome.maxLevel % 10}`];
  return [
    ...common,
    '-preset',
    presets[video.speed],
    '-crf',
    String(video.quality),
    '-g',
    String(keyFrames),
    '-threads:v',
    String(X264_THREADS),
    ...level,
  ];
}

function containerOptions(outcome: Outcome): string[] {
  return [
    ...(outcome.timecode === null ? [] : ['-timecode', formatTimecode(outcome.timecode)]),
    ...(outcome.reel === null ? [] : ['-metadata:s:v:0', `reel_name=${outcome.reel}`]),
    ...(outcome.says === null ? [] : ['-metadata', `comment=${outcome.says}`]),
    ...Object.entries(outcome.texts).flatMap(([key, text]) =>
      text === null ? [] : ['-metadata', `${key}=${text}`],
    ),
  ];
}

function formOptions({ container, rate: { num } }: Outcome): string[] {
  // Its clock is one of milliseconds, whatever is asked; the track says besides how long a frame is.
  if (container === 'mkv') return ['f=matroska'];
  // The rate's numerator is an exact time base; a small one is raised, since some readers round times to it.
  const timescale = num >= 1000 ? num : num * 1000;
  return [
    `f=${container}`,
    `video_track_timescale=${timescale}`,
    ...(container === 'mp4' ? ['movflags=+faststart'] : []),
  ];
}

export interface EncodeTarget {
  readonly outcome: Outcome;
  /** Absolute. */
  readonly path: string;
  readonly pipe: number;
  /** Of a segment each packet is hashed by itself, so that the join can tell it again. */
  readonly byPacket?: boolean;
}

/** The file, and beside it, on a pipe, a hash of what left the encoders: what lies in the file later can be held against it. */
export function encodeTarget({ outcome, path, pipe, byPacket = false }: EncodeTarget): string {
  const units = unitFilters(outcome.codec);
  const file = [
    ...formOptions(outcome),
    'fflags=+bitexact',
    // `hvc1` has its parameter sets in the sample entry, and nowhere else (ISO/IEC 14496-15, 8.4.1); ffmpeg 5.1 leaves those of the stream where they are.
    ...(outcome.codecTag === 'hvc1' ? ['bsfs/v=filter_units=remove_types=32-34'] : []),
  ];
  const bitstream = [
    byPacket ? 'f=framehash' : 'f=streamhash',
    `hash=${PAYLOAD_HASH}`,
    ...(units === null ? [] : [`bsfs/v=${units.ofEncoder}`]),
  ];
  return `[${file.join(':')}]${teeFile(path)}|[${bitstream.join(':')}]pipe:${pipe}`;
}

export interface JoinTarget extends Omit<EncodeTarget, 'byPacket'> {
  /** Gets a hash of each packet of the picture. */
  readonly packets: number;
}

/** The same of a file that is joined from segments. */
export const joinTarget = ({ packets, ...target }: JoinTarget): string =>
  `${encodeTarget(target)}|[select=v:f=framehash:hash=${PAYLOAD_HASH}]pipe:${packets}`;

/**
 * Of a file that is joined: packets of its segments, numbered here and by nobody else. All that an encoder would have said of itself is said as it
 * would have been, so that the file is the one that is made whole, to the last byte.
 */
export function joinOptions({
  facts,
  profile,
  outcome,
  input,
}: {
  readonly facts: ClipFacts;
  readonly profile: EncodedAs;
  readonly outcome: Outcome;
  /** That has the segments. */
  readonly input: number;
}): string[] {
  const { num, den } = outcome.rate;
  return [
    '-map',
    `${input}:v:0`,
    '-c:v',
    'copy',
    '-bsf:v',
    `setts=ts=N:duration=1:time_base=${den}/${num}`,
    ...audioOptions(facts, outcome, { isFed: false, key: `join${input}` }),
    ...plainOptions(),
    ...containerOptions(outcome),
    '-metadata:s:v:0',
    `encoder=Lavc ${encoderOf(profile.video)}`,
    '-f',
    'tee',
  ];
}

/** Nothing of the source's own words, and nothing of the program's. */
const plainOptions = (videoFlags = ''): string[] => [
  '-map_metadata',
  '-1',
  '-map_chapters',
  '-1',
  '-fflags',
  '+bitexact',
  // The tee muxer does not say to encoders that its files want their headers apart.
  '-flags:v',
  `+bitexact+global_header${videoFlags}`,
  '-flags:a',
  '+bitexact+global_header',
];

/** Of the pad that the pictures come out at, which is one for each output. */
export const keyOf = (pad: string): string => pad.replace(/[[\]]/g, '');

export function encodeOptions({
  facts,
  profile,
  outcome,
  pad,
  isFed = false,
  threads,
}: {
  readonly facts: ClipFacts;
  readonly profile: EncodedAs;
  readonly outcome: Outcome;
  /** Of the filter graph, with its brackets: where the pictures come out. */
  readonly pad: string;
  /** Pictures are fed in: the first input is there for its audio alone. */
  readonly isFed?: boolean;
  readonly threads: number;
}): string[] {
  return [
    '-map',
    pad,
    // Every decoded frame once: nothing is repeated or dropped to keep a clock.
    '-fps_mode',
    'passthrough',
    ...pictureOptions(facts, profile, outcome, threads),
    ...audioOptions(facts, outcome, { isFed, key: keyOf(pad) }),
    // x264 then states the error of what it made; its bytes are the same.
    ...plainOptions(outcome.codec === 'h264' ? '+psnr' : ''),
    ...containerOptions(outcome),
    '-f',
    'tee',
  ];
}
