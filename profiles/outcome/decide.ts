/** The outcome of one clip in one profile, or why there is none. Pure: facts and profile alone decide, and every reason against it is reported at once. */
import { type Finding, finding } from '../../findings/finding.ts';
import { type ClipFacts, earlierField, uprightSize } from '../../media/facts.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { formatRatio, type Rate, roundedDivision, safeNumber } from '../../media/time/rate.ts';
import { rgbBasis } from '../../proof/tap.ts';
import { type Framing, inWindow, type Rectangle } from '../../proof/framing.ts';
import { isWatermark } from '../../proof/text/form.ts';
import { traitsOf, vc3FrameBytes } from '../codecs.ts';
import { pixelsReadBack } from '../ffmpeg-names.ts';
import { uprightFacts } from '../../media/upright.ts';
import { lyingFinding } from '../upright.ts';
import { LARGEST_SIDE } from '../limits.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { renderingFor } from '../shown/display.ts';
import { factsSeen, shownOf } from '../shown/decide.ts';
import { sizeOf } from '../master/ground.ts';
import { estimatedBytes } from './bytes.ts';
import { burnInOf } from './burn-in.ts';
import { pictureErrorOf, sketchBytes } from './picture-error.ts';
import { colourOf } from './colour.ts';
import { coveredStrips } from './covered.ts';
import { fileNameOf } from './file-name.ts';
import { keptPictureOf } from './kept.ts';
import { levelFor, levelOfH265 } from './level.ts';
import { cutOf, deliveredSize, type Raster, rasterOf } from './raster.ts';
import { reelOf, reelOfSource } from './reel.ts';
import { splitOf } from './split.ts';
import { audioOf } from './audio.ts';
import { cadenceOf } from './cadence.ts';

export interface OutcomeRequest {
  readonly day: string;
  readonly roll: string;
  /** `name` as the camera named it: what {clip} says. */
  readonly clip: { readonly id: string; readonly name: string };
  readonly facts: ClipFacts;
  readonly profile: Profile;
}

/** `notes` stand beside an outcome and hold nothing. Every finding names roll, clip and profile. */
export type OutcomeDecision =
  | { readonly outcome: Outcome; readonly notes: readonly Finding[] }
  | { readonly outcome: null; readonly findings: readonly Finding[] };

const tablesOfLevels: Readonly<Partial<Record<Profile['video']['codec'], string>>> = {
  h264: 'H.264, Table A-1',
  h265: 'H.265, Tables A.8 and A.9',
};

type Size = ReturnType<typeof deliveredSize>;

/** null: the codec has no levels, or none of them holds it. */
function levelOf({ codec }: Profile['video'], { width, height }: Size, rate: Rate): number | null {
  if (codec === 'h264') return levelFor(width, height, rate);
  return codec === 'h265' ? levelOfH265(width, height, rate) : null;
}

function rasterFindings(raster: Size, level: number | null, rate: Rate, profile: Profile): Finding[] {
  const { smallest } = traitsOf(profile.video);
  const size = `${raster.width}x${raster.height}`;
  const out: Finding[] = [];
  if (raster.width < smallest.width || raster.height < smallest.height)
    out.push(
      finding(
        'raster-unsupported',
        size,
        `${smallest.width}x${smallest.height} or more with ${profile.video.codec}`,
      ),
    );
  if (raster.width > LARGEST_SIDE || raster.height > LARGEST_SIDE)
    out.push(finding('raster-unsupported', size, `at most ${LARGEST_SIDE} pixels a side`));
  const tables = tablesOfLevels[profile.video.codec];
  if (tables !== undefined && level === null)
    out.push(
      finding(
        'raster-unsupported',
        `${size} at ${formatRatio(rate)} frames a second`,
        `within level 6.2 of ${tables}`,
      ),
    );
  return out;
}

/** `covered`: parts of the delivered picture. */
function framingOf(raster: Raster, covered: readonly Rectangle[]): Framing {
  const { scaled, width, height, padded } = raster;
  const window = { ...cutOf(raster), width, height };
  const placed = {
    window,
    inset: padded === undefined ? null : { left: padded.left, top: padded.top },
  };
  return { scaled, ...placed, covered: inWindow(placed, covered) };
}

/** Frames that are developed at half their size are large enough for what their profile would make of the whole size, or there is a finding. */
function halfFindings(
  { raw, declared }: ClipFacts,
  shown: Outcome['shown'],
  { facts: { video }, profile }: Pick<OutcomeRequest, 'facts' | 'profile'>,
): Finding[] {
  if (shown?.from !== 'developed' || raw === undefined || declared !== undefined) return [];
  if (profile.display?.development.demosaic !== 'half') return [];
  const whole = sizeOf({ raw, video }, { ...profile.display.development, demosaic: 'fine' });
  const { scaled } = rasterOf({ ...video, ...whole, rotation: 0 }, profile.raster);
  const { width, height } = shown.size;
  // Of sides that do not divide by two, or are brought to a multiple, one pixel is no enlargement that anybody sees.
  return scaled.width <= width + 1 && scaled.height <= height + 1
    ? []
    : [
        finding(
          'half-too-small',
          `${width}x${height} of ${whole.width}x${whole.height}, developed by half`,
          `at least ${scaled.width}x${scaled.height}, to which the profile scales the picture`,
        ),
      ];
}

/** Whole seconds in frames, to the nearest one. */
function keyFrameDistance(seconds: number, { num, den }: Rate): number {
  return safeNumber(roundedDivision(BigInt(seconds) * BigInt(num), BigInt(den)));
}

/** What the picture is tagged with, and what its fingerprints are compared by. */
interface Picture {
  /** As ffprobe reads it back. */
  readonly pixelFormat: string;
  readonly colour: Outcome['colour'];
  readonly basis: Outcome['proof']['basis'];
  readonly kept: Pick<Outcome, 'exact' | 'fieldOrder' | 'pixelAspect'>;
  readonly notes: readonly Finding[];
}

function keptOf(
  video: ClipFacts['video'],
  codec: Extract<Profile['video'], { codec: 'ffv1' }>,
): Picture | { findings: Finding[] } {
  const decided = keptPictureOf(video, codec);
  if ('findings' in decided) return decided;
  const { pixels, slices, colour, basis, fieldOrder } = decided.picture;
  return {
    pixelFormat: pixels.readBackAs,
    colour,
    basis,
    kept: { exact: { comparedIn: pixels.comparedIn, slices }, fieldOrder, pixelAspect: video.pixelAspect },
    notes: [],
  };
}

function pictureOf(video: ClipFacts['video'], profile: Profile): Picture | { findings: Finding[] } {
  if (profile.video.codec === 'ffv1') return keptOf(video, profile.video);
  const traits = traitsOf(profile.video);
  const colour = colourOf(video, profile);
  if ('findings' in colour) return colour;
  const { source, output } = colour.plan;
  return {
    pixelFormat: pixelsReadBack(traits, profile.pixels, output.range),
    colour: { ...output },
    basis: isRgb(video.pixelFormat) ? rgbBasis : { matrix: source.matrix, range: source.range },
    kept: {
      exact: null,
      fieldOrder: 'progressive',
      pixelAspect: profile.raster.pixel_aspect === 'keep' ? video.pixelAspect : { num: 1, den: 1 },
    },
    notes: colour.notes,
  };
}

/** ITU-R BT.2020, Table 4, and BT.2100: the first sample of chroma lies on the first one of luma. */
function sitingOf({ pixels }: Profile, { primaries }: Outcome['colour']): Pick<Outcome, 'chromaSiting'> {
  return { chromaSiting: pixels === '4:2:0 10-bit' && primaries === 'bt2020' ? 'topleft' : null };
}

/** cd/m²: as dark as a display of its own light is said to be (common practice, no source). */
const BLACK = 0.0001;

/**
 * What an H.265 stream in PQ says of its light. Pictures that stay as recorded, or are placed as they are, were made on a display that nobody names, and
 * so were looks that end on one.
 */
function lightOf(
  { video, display }: Profile,
  { transfer }: Outcome['colour'],
  shown: Outcome['shown'],
): Pick<Outcome, 'contentLight' | 'masteringDisplay'> {
  if (video.codec !== 'h265' || transfer !== 'pq') return { contentLight: null, masteringDisplay: null };
  const output = shown?.output ?? null;
  if (display === undefined || output === null || 'placed' in output)
    return { contentLight: 'measured', masteringDisplay: null };
  const { peak, limiting } = renderingFor(display);
  return { contentLight: 'measured', masteringDisplay: { primaries: limiting, peak, black: BLACK } };
}

/** Of which deliverables every frame of the clip is one, so far. */
function noGridFor({ video }: ClipFacts, profile: Profile, isShown: boolean): string | null {
  if (traitsOf(profile.video).lossless) return 'a lossless copy';
  if (isShown) return 'pictures that go a colour way';
  return earlierField(video) === null ? null : 'an interlaced clip';
}

export function outcomeOf(request: OutcomeRequest): OutcomeDecision {
  const { day, roll, clip, profile } = request;
  // What keeps every sample keeps them as they lie, or refuses them.
  const kept = profile.video.codec === 'ffv1';
  const lying = kept ? null : lyingFinding(request.facts);
  if (lying !== null)
    return { outcome: null, findings: [{ ...lying, roll, clip: clip.id, profile: profile.name }] };
  const recorded = kept ? request.facts : uprightFacts(request.facts);
  const decided = shownOf(recorded, profile);
  const shown = 'findings' in decided ? null : decided.shown;
  const facts = factsSeen(recorded, shown);
  const { video, declared } = facts;
  const traits = traitsOf(profile.video);
  const about = (item: Finding): Finding => ({ ...item, roll, clip: clip.id, profile: profile.name });
  // Their code values are nobody's but their decoder's: no tags, no movie's way of looking at them.
  if (declared !== undefined && shown === null)
    return {
      outcome: null,
      findings: [
        about(
          finding(
            'declared-clip-no-movie',
            `pictures of ${declared.declared.name}`,
            'pictures that ffmpeg decodes',
          ),
        ),
      ],
    };

  const decidedSplit = splitOf(recorded, profile, shown !== null);
  const split = 'findings' in decidedSplit ? null : decidedSplit.split;
  const cadence = cadenceOf(facts, {
    split,
    rate: profile.rate,
    timecode: profile.timecode,
    keepsTime: traits.lossless,
    noGridFor: noGridFor(facts, profile, shown !== null),
  });
  const { rate, frames } = 'findings' in cadence ? video : cadence;
  // On a grid its audio is fitted to the instants of that.
  const heard =
    'findings' in cadence || cadence.cadence.constant === null
      ? facts
      : { ...facts, video: { ...video, rate, frames } };
  const picture = pictureOf(video, profile);
  const audio = audioOf(heard, profile, 'findings' in cadence ? null : cadence.cadence.offSpeed);
  const raster = rasterOf(video, profile.raster);
  const delivered = deliveredSize(raster);
  const level = levelOf(profile.video, delivered, rate);
  const interlaced = earlierField(recorded.video) !== null;
  const burnIn = burnInOf({
    profile,
    size: delivered,
    timecode: 'timecode' in cadence ? cadence.timecode : null,
    names: { clip: clip.name, roll, reel: reelOfSource(facts, roll) },
    transfer: 'findings' in picture ? null : picture.colour.transfer,
    facts,
    shown,
    split,
  });
  const refusals = [
    ...(video.frames > 0 ? [] : [finding('clip-no-frames', 'no frame', 'one or more')]),
    ...(video.pixelFormat.startsWith('bayer')
      ? [finding('raw-not-developed', `pixel format ${video.pixelFormat}`, 'a developed picture')]
      : []),
    ...(/f(16|32)(le|be)?$/.test(video.pixelFormat)
      ? [
          finding(
            'stills-scene-linear',
            `pixel format ${video.pixelFormat}`,
            'frames that can be looked at as they are',
          ),
        ]
      : []),
    ...(interlaced && profile.interlaced === 'hold'
      ? [finding('interlaced-held', `interlaced, ${recorded.video.fieldOrder}`, 'progressive')]
      : []),
    ...('findings' in decided ? decided.findings : []),
    ...('findings' in decidedSplit ? decidedSplit.findings : []),
    ...('findings' in cadence ? cadence.findings : []),
    // What becomes of colours that do not go their way, nobody asks.
    ...('findings' in picture && !('findings' in decided) ? picture.findings : []),
    ...('findings' in audio ? audio.findings : []),
    ...('findings' in burnIn ? burnIn.findings : []),
    ...rasterFindings(delivered, level, rate, profile),
    ...halfFindings(recorded, shown, request),
  ];
  if (
    refusals.length > 0 ||
    'findings' in decided ||
    'findings' in cadence ||
    'findings' in picture ||
    'findings' in audio ||
    'findings' in burnIn
  )
    return { outcome: null, findings: refusals.map(about) };

  const parts = {
    clip: clip.name,
    roll,
    reel: reelOfSource(facts, roll),
    day,
    profile: profile.name,
    timecode: cadence.timecode,
  };
  const outcome: Outcome = {
    kind: 'movie',
    fileName: fileNameOf(profile.file_name, parts, profile.container),
    frames,
    rate,
    ...delivered,
    pixelFormat: picture.pixelFormat,
    colour: picture.colour,
    ...sitingOf(profile, picture.colour),
    ...lightOf(profile, picture.colour, shown),
    ...picture.kept,
    container: profile.container,
    codec: traits.codec,
    codecTag: traits.tag,
    codecProfile: traits.profile,
    maxLevel: level,
    packetBytes: vc3FrameBytes(profile.video, delivered.width, delivered.height),
    keyFrameDistance:
      'key_frame_seconds' in profile.video ? keyFrameDistance(profile.video.key_frame_seconds, rate) : null,
    timecode: cadence.timecode,
    cadence: cadence.cadence,
    reel: reelOf(profile.reel, request),
    audio: audio.tracks,
    proof: {
      framing: framingOf(raster, [
        ...coveredStrips(profile, delivered.width, delivered.height),
        ...burnIn.burnIn.filter(isWatermark).map(({ box }) => box),
      ]),
      basis: picture.basis,
      // What each field became is compared as the whole frame that it was made into.
      earlierField: split === null ? earlierField(video) : null,
      kept: traits.lossless,
      lines: uprightSize(video).height,
      audioOffsets: audio.tracks.map((track) => facts.audio[track.sourceTrack]?.startOffset ?? 0),
    },
    burnIn: [...burnIn.burnIn],
    shown,
    pictureError: pictureErrorOf(profile.picture_error, delivered),
    says: null,
    linearisation: null,
    texts: { make: null, model: null, date: null },
    left: [],
    amf: null,
    estimatedBytes: estimatedBytes(profile, { ...video, frames }, delivered, audio.tracks),
  };
  const notes = [...decided.notes, ...cadence.notes, ...picture.notes, ...audio.notes, ...burnIn.notes].map(
    about,
  );
  return { outcome: { ...outcome, estimatedBytes: outcome.estimatedBytes + sketchBytes(outcome) }, notes };
}
