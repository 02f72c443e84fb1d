/** The outcome of one clip as a master, or why there is none. Pure: facts and profile alone decide, and every reason against it is told at once. */
import { type Finding, finding } from '../../findings/finding.ts';
import { isPictureFormat, layoutOf } from '../../media/colour/formats.ts';
import { isSiting, sitings } from '../../media/colour/siting.ts';
import { isYcbcrMatrix, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { cropOf } from '../../media/raw/develop/crop.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import type { Timecode } from '../../media/timecode.ts';
import { matrixBeside } from '../outcome/colour.ts';
import { fileNameOf, reelText } from '../outcome/file-name.ts';
import { reelOf, reelOfSource } from '../outcome/reel.ts';
import { timecodeOf } from '../outcome/timecode.ts';
import { masterBytes } from './bytes.ts';
import type { MasterOutcome, WayToLight } from './outcome.ts';
import type { MasterProfile } from './schema.ts';

export interface MasterRequest {
  readonly day: string;
  readonly roll: string;
  readonly clip: { readonly id: string; readonly name: string };
  readonly facts: ClipFacts;
  readonly profile: MasterProfile;
  /** Bytes a pixel that such frames took before, compressed (coordinator/plan/learned.ts); null: nothing was made yet. */
  readonly learned?: number | null;
}

export type MasterDecision = { readonly outcome: MasterOutcome; readonly notes: readonly Finding[] } | { readonly outcome: null; readonly findings: readonly Finding[] };

const EXTENSIONS = { exr: 'exr', aces: 'exr', dpx: 'dpx' } as const;
const CODED = 'planes of YCbCr, RGB or grey';

export function masterOf(request: MasterRequest): MasterDecision {
  const { day, roll, clip, facts, profile } = request;
  const { video } = facts;
  const about = (item: Finding): Finding => ({ ...item, roll, clip: clip.id, profile: profile.name });
  const timecode = timecodeOf(facts.timecode, video.rate, profile.timecode);
  const way = facts.raw === undefined ? codedWay(facts) : rawWay(facts, profile);
  const refusals = [
    ...(video.frames > 0 ? [] : [finding('clip-no-frames', 'no frame', 'one or more')]),
    ...(earlierField(video) === null ? [] : [finding('master-source-not-offered', `interlaced, ${video.fieldOrder}`, 'progressive frames')]),
    ...(video.rotation === 0 ? [] : [finding('master-source-not-offered', `to be turned by ${video.rotation} degrees`, 'an upright picture')]),
    ...('findings' in timecode ? timecode.findings : []),
    ...('findings' in way ? way.findings : []),
  ];
  if (refusals.length > 0 || 'findings' in timecode || 'findings' in way) return { outcome: null, findings: refusals.map(about) };

  const size = sizeOf(facts);
  const { form } = profile;
  const parts = { clip: clip.name, roll, reel: reelOfSource(facts, roll), day, profile: profile.name, timecode: timecode.timecode };
  // The folder has no extension; the names of the frames have its name before their number.
  const extension = EXTENSIONS[form === 'rdd36' ? 'exr' : form];
  const stem = fileNameOf(profile.file_name, parts, 'x').replace(/\.x$/, '');
  const compression = form === 'exr' ? profile.compression : 'none';
  const bytes = masterBytes({ form, compression, ...size, frames: video.frames, learned: request.learned ?? null });
  const outcome: MasterOutcome = {
    kind: 'master',
    form,
    compression,
    fileName: stem,
    stem,
    extension,
    first: firstNumber(profile, timecode.timecode, facts),
    digits: profile.numbering.digits,
    frames: video.frames,
    rate: video.rate,
    ...size,
    pixelAspect: video.pixelAspect,
    timecode: timecode.timecode,
    reel: reelOf(profile.reel, request),
    way: way.way,
    said: saidOf(facts, profile, way.way),
    ...bytes,
  };
  return { outcome, notes: [...timecode.notes, ...way.notes].map(about) };
}

function sizeOf({ raw, video }: ClipFacts): { width: number; height: number } {
  if (raw === undefined) return { width: video.width, height: video.height };
  const { width, height } = cropOf(raw.picture);
  return { width, height };
}

function firstNumber({ numbering }: MasterProfile, timecode: Timecode, facts: ClipFacts): number {
  if (numbering.from === 'one') return 1;
  if (numbering.from === 'timecode') return timecode.frame;
  return facts.firstNumber ?? 1;
}

type Way = { readonly way: WayToLight; readonly notes: readonly Finding[] } | { readonly findings: readonly Finding[] };

function codedWay({ video, interpretation }: ClipFacts): Way {
  const input = interpretation?.input ?? null;
  const { colour, pixelFormat, width, height } = video;
  const findings: Finding[] = [];
  if (input === null) findings.push(finding('input-unknown', `tags of ${[colour.primaries, colour.transfer, colour.matrix].map((tag) => tag ?? 'nothing').join(', ')}`, 'an input transform in the settings, or tags that leave no doubt'));
  if (!isPictureFormat(pixelFormat)) findings.push(finding('master-source-not-offered', `pixel format ${pixelFormat}`, CODED));
  if (findings.length > 0 || input === null) return { findings };
  const { kind, across, down } = layoutOf(pixelFormat, width, height);
  const range = colour.range ?? (kind === 'rgb' ? 'full' : 'limited');
  // The matrix beside the primaries is how the picture was coded, whatever its curve is; that it was not tagged is told.
  const matrix = kind === 'yuv' ? (colour.matrix ?? matrixBeside(colour.primaries ?? 'bt709')) : null;
  if (matrix !== null && !isYcbcrMatrix(matrix)) return { findings: [finding('master-source-not-offered', `matrix ${matrix}`, `one of: ${ycbcrMatrices.join(', ')}`)] };
  const siting = across > 1 || down > 1 ? (video.chromaSiting ?? 'left') : null;
  if (siting !== null && !isSiting(siting)) return { findings: [finding('master-source-not-offered', `chroma at ${siting}`, `one of: ${sitings.join(', ')}`)] };
  const untagged = kind === 'yuv' && (colour.matrix === null || colour.range === null);
  return { way: { kind: 'coded', input, pixelFormat, matrix, range, siting }, notes: untagged ? [finding('colour-assumed', `not tagged; taken for matrix ${matrix}, ${range} range`, 'matrix and range tagged')] : [] };
}

function rawWay({ raw, interpretation }: ClipFacts, { development }: MasterProfile): Way {
  if (raw === undefined) throw new RangeError('a clip without raw facts');
  const { whiteBalance, exposureStops } = interpretation?.raw ?? { whiteBalance: 'as-shot' as const, exposureStops: 0 };
  const developed = developmentOf(raw.picture, { whiteBalance, exposureStops });
  if ('missing' in developed) return { findings: [finding('raw-setting-missing', developed.missing, 'tags and a white balance that leave a development')] };
  const { matrix: [x, y, z], neutral, exposure, white } = developed;
  return { way: { kind: 'raw', decoder: raw.decoder.name, ...development, neutral: [...neutral], matrix: [[...x], [...y], [...z]], exposure, white: { ...white } }, notes: [] };
}

function saidOf({ raw, interpretation }: ClipFacts, { header }: MasterProfile, way: WayToLight): MasterOutcome['said'] {
  const text = (own: string, settings: string | undefined): string | null => cleanedText(own === '' ? (settings ?? '') : own);
  const camera = raw?.camera;
  return {
    owner: text(header.owner, interpretation?.owner),
    comments: text(header.comments, interpretation?.comments),
    captured: exrDate(camera?.capturedAt ?? null),
    iso: camera?.iso ?? null,
    exposureSeconds: camera?.exposureSeconds ?? null,
    whiteKelvin: way.kind === 'raw' ? way.white.kelvin : null,
    camera: cleanedText(camera?.label ?? camera?.model ?? ''),
    serial: cleanedText(camera?.serial ?? ''),
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

