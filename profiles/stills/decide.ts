/**
 * Which stills are made of a clip, and how they must come out. Pure.
 *
 * Places: the clip is cut into as many equal parts as there are stills, and each shows the frame in the middle of its part. Pictures: those of the colour way
 * for a display of standard range where the clip goes one, else the recorded code values as that display shows them. A clip of which no still can be made is not
 * held for it: a note says why.
 */
import { createHash } from 'node:crypto';
import { type Finding, finding } from '../../findings/finding.ts';
import { type Primaries, primaries as known } from '../../media/colour/h273.ts';
import { isPictureFormat, layoutOf } from '../../media/colour/formats.ts';
import { isSiting } from '../../media/colour/siting.ts';
import { isYcbcrMatrix } from '../../media/colour/ycbcr.ts';
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { isPlanarYuv } from '../../media/pixel-format.ts';
import { uprightFacts } from '../../media/upright.ts';
import { uprightAspect } from '../master/ground.ts';
import { lyingFinding } from '../upright.ts';
import { addFrames, formatTimecode, type Timecode } from '../../media/time/timecode.ts';
import { matrixBeside } from '../outcome/colour.ts';
import { cadenceOf } from '../outcome/cadence.ts';
import { canonicalJson } from '../hash.ts';
import { shownOf } from '../shown/decide.ts';
import type { Shown } from '../shown/schema.ts';
import type { StillsAsked, StillsOutcome } from './schema.ts';

/** Small pictures to look at: developing all of a frame for them would be work for nothing. */
const DISPLAY = {
  encoding: 'bt1886-bt709',
  development: { demosaic: 'half', highlights: 'by-channel' },
} as const;

/** Curves of displays of standard range, by the names of H.273: one curve under four numbers, and sRGB. */
const FOR_DISPLAYS: readonly (string | null)[] = ['bt709', 'bt601', 'bt2020-10', 'bt2020-12', 'srgb'];

/** Frames in the middles of `count` equal parts of a clip; of a clip of fewer frames all of them. */
export function stillFrames(frames: number, count: number): number[] {
  const number = Math.min(frames, count);
  return Array.from({ length: number }, (_, index) => Math.floor(((2 * index + 1) * frames) / (2 * number)));
}

export interface StillsDecision {
  /** null: none are made. */
  readonly stills: StillsOutcome | null;
  readonly notes: readonly Finding[];
}

export interface StillsRequest {
  readonly clip: { readonly id: string };
  readonly facts: ClipFacts;
  readonly asked: StillsAsked;
}

export const decideStills = ({ asked, ...request }: StillsRequest): StillsDecision =>
  decideFrames({ ...request, asked, frames: stillFrames(request.facts.video.frames, asked.count) });

export interface FramesRequest extends Omit<StillsRequest, 'asked'> {
  readonly asked: Pick<StillsAsked, 'width' | 'bits'>;
  /** Frames of the clip. */
  readonly frames: readonly number[];
}

/** Stills of these frames. */
export function decideFrames({ clip, facts: recorded, asked, frames }: FramesRequest): StillsDecision {
  if (frames.length === 0) return { stills: null, notes: [] };
  const lying = lyingFinding(recorded);
  const facts = lying === null ? uprightFacts(recorded) : recorded;
  const { video } = facts;
  const picture = lying === null ? pictureOf(facts) : { why: lying.found };
  if ('why' in picture)
    return {
      stills: null,
      notes: [
        finding('stills-left-out', picture.why, 'pictures that stills can be made of', { clip: clip.id }),
      ],
    };
  const { pixelAspect, ...shownAs } = picture;
  const start = startOf(facts);
  const { reduce, width, height } = reduced(shownAs.source, pixelAspect, asked.width);
  return {
    stills: {
      ...shownAs,
      reduce,
      width,
      height,
      fields:
        video.fieldOrder === 'top-first' || video.fieldOrder === 'bottom-first' ? video.fieldOrder : null,
      bits: asked.bits,
      stills: frames.map((frame) => ({
        frame,
        timecode: start === null ? null : formatTimecode(addFrames(start, frame)),
        file: `${clip.id}.${String(frame).padStart(6, '0')}.png`,
      })),
    },
    notes: [],
  };
}

/** Square pixels: nothing is enlarged, but what is too many one way is made fewer. */
function reduced(
  source: StillsOutcome['source'],
  { num, den }: ClipFacts['video']['pixelAspect'],
  most: number,
): Pick<StillsOutcome, 'reduce' | 'width' | 'height'> {
  // As wide as it is with square pixels.
  const wide = num < den ? (source.width * num) / den : source.width;
  const factor = Math.max(1, Math.ceil(wide / most));
  const along = (pixels: number, narrower: number, by: number) => {
    const kept = Math.max(1, Math.floor((pixels * narrower) / (by * factor)));
    const taken = Math.min(pixels, Math.round((kept * factor * by) / narrower));
    return { kept, taken, rest: Math.floor((pixels - taken) / 2) };
  };
  const across = num < den ? along(source.width, num, den) : along(source.width, 1, 1);
  const down = num > den ? along(source.height, den, num) : along(source.height, 1, 1);
  return {
    reduce: { left: across.rest, top: down.rest, width: across.taken, height: down.taken },
    width: across.kept,
    height: down.kept,
  };
}

/** Whether the same must come out. */
export const sameStills = (one: StillsOutcome, other: StillsOutcome): boolean =>
  written(one) === written(other);

/** Equal where `sameStills` is true. */
export const stillsDigest = (outcome: StillsOutcome): string =>
  createHash('sha256').update(written(outcome)).digest('hex');

const written = (outcome: StillsOutcome): string => canonicalJson(JSON.parse(JSON.stringify(outcome)));

/** As the built-in profiles count; null: nobody says where the clip starts, or its rate varies and a frame has no label of its own. */
function startOf(facts: ClipFacts): Timecode | null {
  const decided = cadenceOf(facts, {
    timecode: { missing: 'time-of-day' },
    keepsTime: false,
    noGridFor: 'stills',
  });
  return 'findings' in decided ? null : decided.timecode;
}

type Picture = Pick<StillsOutcome, 'shows' | 'shown' | 'recorded' | 'primaries' | 'source'> &
  Pick<ClipFacts['video'], 'pixelAspect'>;

function pictureOf(facts: ClipFacts): Picture | { readonly why: string } {
  const { video, raw, declared } = facts;
  const decided = shownOf(facts, { display: DISPLAY });
  if ('findings' in decided)
    return {
      why: decided.findings.map(({ found, expected }) => `${found}; ${expected} is needed`).join('; '),
    };
  const { shown } = decided;
  if (shown !== null) return shownPicture(facts, shown);
  if (raw !== undefined || declared !== undefined || /f(16|32)(le|be)?$/.test(video.pixelFormat))
    return { why: 'light of a scene that is to stay as it was recorded' };
  return recordedPicture(facts);
}

function shownPicture({ video }: ClipFacts, shown: Shown): Picture | { readonly why: string } {
  const source = shown.from === 'developed' ? shown.size : { width: video.width, height: video.height };
  if (shown.from === 'recorded' && isWoven(video) && !isPlanarYuv(video.pixelFormat))
    return { why: `fields of ${video.pixelFormat}` };
  return {
    shows: 'shown',
    shown,
    recorded: null,
    primaries: 'bt709',
    source,
    pixelAspect: uprightAspect(video),
  };
}

const isWoven = (video: ClipFacts['video']): boolean => earlierField(video) !== null;

const isPrimaries = (name: string): name is Primaries => Object.hasOwn(known, name);

function recordedPicture({ video, interpretation, way }: ClipFacts): Picture | { readonly why: string } {
  const { colour, pixelFormat, width, height, pixelAspect, chromaSiting } = video;
  if (!isPictureFormat(pixelFormat)) return { why: `pixel format ${pixelFormat}` };
  if (isWoven(video) && !isPlanarYuv(pixelFormat)) return { why: `fields of ${pixelFormat}` };
  const { kind, across, down } = layoutOf(pixelFormat, width, height);
  const primaries = colour.primaries ?? 'bt709';
  if (!isPrimaries(primaries)) return { why: `primaries ${primaries}` };
  const tagged = colour.matrix === 'rgb' ? null : colour.matrix;
  const matrix = kind === 'yuv' ? (tagged ?? matrixBeside(primaries)) : null;
  if (matrix !== null && !isYcbcrMatrix(matrix)) return { why: `matrix ${matrix}` };
  const siting = across > 1 || down > 1 ? (chromaSiting ?? 'left') : null;
  if (siting !== null && !isSiting(siting)) return { why: `chroma at ${siting}` };
  const isForDisplay =
    way?.output !== 'as-recorded' &&
    ((interpretation?.input ?? null) !== null || FOR_DISPLAYS.includes(colour.transfer));
  return {
    shows: isForDisplay ? 'for-display' : 'as-recorded',
    shown: null,
    recorded: {
      matrix,
      range: colour.range ?? (kind === 'rgb' || pixelFormat.startsWith('yuvj') ? 'full' : 'limited'),
      siting,
      curve: colour.transfer === 'srgb' ? 'srgb' : 'bt1886',
    },
    primaries,
    source: { width, height },
    pixelAspect,
  };
}
