/**
 * The master that is a movie: 4444 of SMPTE RDD 36 in MOV, its pictures ACEScct, for houses that grade from movies. What must come out is a
 * movie's outcome, so that it is checked as every movie is; its pictures are fed to the encoder by the threads that make masters.
 */
import { finding } from '../../findings/finding.ts';
import { traitsOf } from '../codecs.ts';
import { pixelsReadBack } from '../ffmpeg-names.ts';
import { LARGEST_SIDE } from '../limits.ts';
import { estimatedBytes } from '../outcome/bytes.ts';
import { pictureErrorOf, sketchBytes } from '../outcome/picture-error.ts';
import { fileNameOf, reelText } from '../outcome/file-name.ts';
import { reelOf } from '../outcome/reel.ts';
import { audioOf } from '../outcome/audio.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import type { MasterDecision } from './decision.ts';
import { amfOf } from './amf.ts';
import { carriedInMovie } from './carried.ts';
import { movieQualities } from './schema.ts';
import { about, type MasterGround, type MasterRequest, uprightAspect } from './ground.ts';

/** What a profile of movies would say of it. Audio as it is in the clip: each track, at its own rate, no bit less than 24. */
export const masterMovie = {
  container: 'mov',
  video: { codec: 'rdd36', quality: '4444' },
  pixels: '4:4:4 10-bit',
  audio: { tracks: 'all', format: 'pcm-24', rate: 'source', tolerance_frames: 1, offset: 'fit' },
  picture_error: { regions: 'coarse', least_psnr: 40 },
} as const satisfies Pick<Profile, 'container' | 'video' | 'pixels' | 'audio' | 'picture_error'>;

/**
 * ACEScct of AP1 has no numbers in ITU-T H.273: primaries and transfer stay untagged, since every number that is there would be wrong. Matrix and
 * range are how the codes were made of R'G'B' (media/colour/acescct.ts), and are reported.
 */
const COLOUR = { primaries: null, transfer: null, matrix: 'bt709', range: 'limited' } as const;
/** So the file says it in words, whoever gets it alone. */
const SAYS =
  "ACEScct (Academy S-2016-001), primaries AP1, as Y'CbCr with the matrix of ITU-R BT.709, limited range, encoded from 10 bits";

type Quality = (typeof movieQualities)[number];
/** By the four characters that its outcome has. Throws RangeError for those of another movie. */
export function qualityOf({ codecTag }: Pick<Outcome, 'codecTag'>): Quality {
  const quality = movieQualities.find((one) => traitsOf({ codec: 'rdd36', quality: one }).tag === codecTag);
  if (quality === undefined) throw new RangeError(`no movie for grading: ${codecTag}`);
  return quality;
}

/** As `masterMovie`, of that quality. */
export const masterMovieOf = (quality: Quality) =>
  ({ ...masterMovie, video: { codec: 'rdd36', quality } }) as const;

export function movieMasterOf(
  request: MasterRequest,
  ground: MasterGround | { readonly findings: readonly MasterGround['notes'][number][] },
): MasterDecision {
  const { facts, profile } = request;
  const { video } = facts;
  const movie = masterMovieOf(profile.quality ?? '4444');
  const traits = traitsOf(movie.video);
  const audio = audioOf(facts, masterMovie, 'findings' in ground ? null : ground.cadence.cadence.offSpeed);
  const refusals = [
    ...('findings' in ground ? ground.findings : rasterFindings(ground.size, traits.smallest)),
    ...('findings' in audio ? audio.findings : []),
  ];
  if (refusals.length > 0 || 'findings' in ground || 'findings' in audio)
    return { outcome: null, findings: about(request, refusals) };
  const {
    size,
    cadence: { rate, timecode, cadence },
    linearisation,
  } = ground;
  const { width, height } = size;
  const outcome: Outcome = {
    kind: 'movie',
    fileName: fileNameOf(profile.file_name, ground.parts, masterMovie.container),
    frames: video.frames,
    rate,
    width,
    height,
    pixelFormat: pixelsReadBack(traits, masterMovie.pixels, COLOUR.range),
    colour: { ...COLOUR },
    pixelAspect: uprightAspect(video),
    fieldOrder: 'progressive',
    container: masterMovie.container,
    codec: traits.codec,
    codecTag: traits.tag,
    codecProfile: traits.profile,
    maxLevel: null,
    packetBytes: null,
    keyFrameDistance: null,
    timecode,
    cadence,
    reel: reelOf(profile.reel, request),
    audio: audio.tracks,
    proof: {
      framing: {
        scaled: { width, height },
        window: { left: 0, top: 0, width, height },
        covered: [],
        inset: null,
      },
      basis: { matrix: COLOUR.matrix, range: COLOUR.range },
      earlierField: null,
      kept: false,
      lines: height,
      audioOffsets: audio.tracks.map((track) => facts.audio[track.sourceTrack]?.startOffset ?? 0),
    },
    says: SAYS,
    linearisation,
    burnIn: [],
    shown: null,
    contentLight: null,
    masteringDisplay: null,
    chromaSiting: null,
    pictureError: pictureErrorOf(masterMovie.picture_error, size),
    exact: null,
    ...carriedInMovie(facts),
    amf: null,
    estimatedBytes: estimatedBytes(movie, video, size, audio.tracks),
  };
  const { estimatedBytes: bytes, amf: _, ...decided } = outcome;
  const clipName = reelText(request.clip.name);
  return {
    outcome: {
      ...decided,
      amf: amfOf({
        stem: outcome.fileName.slice(0, -`.${masterMovie.container}`.length),
        clipName: clipName === '' ? request.clip.id : clipName,
        contentDigest: request.clip.contentDigest,
        createdAt: facts.createdAt,
        timeZone: facts.interpretation?.timeZone,
        linearisation,
        holds: 'acescct',
        inputClf: profile.amf.input_clf,
        way: facts.way,
        of: { profile: profile.name, ...decided },
      }),
      estimatedBytes: bytes + sketchBytes(outcome),
    },
    notes: about(request, [...ground.notes, ...audio.notes]),
  };
}

function rasterFindings(
  { width, height }: MasterGround['size'],
  smallest: { readonly width: number; readonly height: number },
): MasterGround['notes'][number][] {
  const size = `${width}x${height}`;
  if (width < smallest.width || height < smallest.height)
    return [
      finding(
        'raster-unsupported',
        size,
        `${smallest.width}x${smallest.height} or more with ${masterMovie.video.codec}`,
      ),
    ];
  return width > LARGEST_SIDE || height > LARGEST_SIDE
    ? [finding('raster-unsupported', size, `at most ${LARGEST_SIDE} pixels a side`)]
    : [];
}
