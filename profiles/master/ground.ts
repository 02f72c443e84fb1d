/** What every master of a clip rests on, whatever its form: the linearisation, size, timecode; and every reason against it. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { channelsLeft } from '../../media/formats/exr/source.ts';
import { isPictureFormat, layoutOf } from '../../media/colour/formats.ts';
import { isLogTag } from '../../media/colour/input.ts';
import { isSiting, sitings } from '../../media/colour/siting.ts';
import { isYcbcrMatrix, ycbcrMatrices } from '../../media/colour/ycbcr.ts';
import { type ClipFacts, earlierField, uprightSize } from '../../media/facts.ts';
import type { CorrectionChoice } from '../../media/interpretation.ts';
import { OWN_DECODER } from '../../media/raw/decoders/names.ts';
import { cropOf, halved } from '../../media/raw/develop/crop.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import { isMirrored, turned, turnOf } from '../../media/raw/develop/turn.ts';
import type { RawFacts } from '../../media/raw-facts.ts';
import { madeWhole } from '../../media/fields.ts';
import { uprightFacts } from '../../media/upright.ts';
import { isPlanarYuv } from '../../media/pixel-format.ts';
import type { InputPlace } from '../../media/input.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { matrixBeside } from '../outcome/colour.ts';
import { lyingFinding } from '../upright.ts';
import { reelOfSource } from '../outcome/reel.ts';
import { cadenceOf, type Decided } from '../outcome/cadence.ts';
import type { Development } from '../development.ts';
import type { MasterProfile } from './schema.ts';
import type { Linearisation } from './linearisation.ts';

export interface MasterRequest {
  readonly day: string;
  readonly roll: string;
  readonly clip: {
    readonly id: string;
    readonly name: string;
    readonly contentDigest: string;
    readonly place: InputPlace;
    /** Which of its frames are made; absent: all. */
    readonly stretch?: { readonly start: number; readonly frames: number; readonly day: string } | undefined;
  };
  readonly facts: ClipFacts;
  readonly profile: MasterProfile;
  /** Bytes a pixel that such frames took before, compressed (coordinator/plan/learned.ts); null: nothing was made yet. */
  readonly learned?: number | null;
}

export interface MasterGround {
  readonly linearisation: Linearisation;
  readonly size: { readonly width: number; readonly height: number };
  readonly cadence: Decided;
  /** What names are made of (profiles/outcome/file-name.ts). */
  readonly parts: {
    readonly clip: string;
    readonly roll: string;
    readonly reel: string;
    readonly day: string;
    readonly profile: string;
    readonly timecode: Timecode;
  };
  readonly notes: readonly Finding[];
}

const CODED = 'planes of YCbCr, RGB or grey';

export function groundOf({
  day,
  roll,
  clip,
  facts: recorded,
  profile,
}: MasterRequest): MasterGround | { readonly findings: readonly Finding[] } {
  const ofFields = fieldFindings(recorded, { place: clip.place, profile });
  if (ofFields.length > 0) return { findings: ofFields };
  // Frames are made of fields in the lines that they are coded in, and turned as whole ones.
  const whole = madeWhole(recorded);
  const lying = lyingFinding(whole);
  if (lying !== null) return { findings: [lying] };
  const facts = uprightFacts(whole);
  const { video } = facts;
  const cadence = cadenceOf(facts, {
    rate: profile.rate,
    timecode: profile.timecode,
    keepsTime: false,
    noGridFor: 'a master',
  });
  const linearisation =
    facts.raw === undefined ? codedLinearisation(facts) : rawLinearisation(facts, profile.development);
  const refusals = [
    ...(video.frames > 0 ? [] : [finding('clip-no-frames', 'no frame', 'one or more')]),
    ...('findings' in cadence ? cadence.findings : []),
    ...('findings' in linearisation ? linearisation.findings : []),
  ];
  if (refusals.length > 0 || 'findings' in cadence || 'findings' in linearisation)
    return { findings: refusals };
  return {
    linearisation: linearisation.linearisation,
    size: sizeOf(facts, profile.development),
    cadence,
    parts: {
      clip: clip.name,
      roll,
      reel: reelOfSource(facts, roll),
      day: clip.stretch?.day ?? day,
      profile: profile.name,
      timecode: cadence.timecode,
    },
    notes: [...cadence.notes, ...linearisation.notes, ...leftOut(facts)],
  };
}

/** Frames that are made of fields are computed again from three coded frames, as they lie in their files (worker/master/whole-of-fields.ts). */
function fieldFindings(
  { video }: ClipFacts,
  { place, profile }: { readonly place: InputPlace; readonly profile: MasterProfile },
): Finding[] {
  if (earlierField(video) === null) return [];
  const refused = (what: string, expected: string): Finding[] => [
    finding('master-source-unsupported', `interlaced, ${video.fieldOrder}${what}`, expected),
  ];
  if (profile.interlaced !== 'deinterlace')
    return refused('', 'progressive frames, or `interlaced: deinterlace` in the profile');
  if (place.kind === 'sequence') return refused(', of numbered frames', 'fields of a movie');
  return isPlanarYuv(video.pixelFormat) ? [] : refused(` of ${video.pixelFormat}`, "fields of planar Y'CbCr");
}

/** What the frames hold beside the picture: a master has R, G, B of the first part and nothing else. */
function leftOut({ exr }: ClipFacts): Finding[] {
  if (exr === undefined) return [];
  const left = channelsLeft(exr.channels);
  const names = left.slice(0, 12).join(', ');
  const found = [
    ...(left.length === 0
      ? []
      : [
          `${left.length === 1 ? 'channel' : `${left.length} channels:`} ${names}${left.length > 12 ? ', …' : ''}`,
        ]),
    ...(exr.layout === 'parts' ? ['every part behind the first'] : []),
  ];
  if (found.length === 0) return [];
  return [
    finding(
      'channels-left-out',
      printable(found.join('; ')),
      'channels R, G and B in one part, as a master has',
    ),
  ];
}

/** Every finding names roll, clip and profile. */
export function about({ roll, clip, profile }: MasterRequest, items: readonly Finding[]): Finding[] {
  return items.map((item) => ({ ...item, roll, clip: clip.id, profile: profile.name }));
}

/** Width of a pixel to its height in the picture as it is seen. */
export function uprightAspect({
  pixelAspect,
  rotation,
}: ClipFacts['video']): ClipFacts['video']['pixelAspect'] {
  const quarter = rotation === 90 || rotation === 270;
  return quarter ? { num: pixelAspect.den, den: pixelAspect.num } : pixelAspect;
}

/** Of the developed picture. */
export function sizeOf(
  { raw, video }: Pick<ClipFacts, 'raw' | 'video'>,
  development: Development,
): { width: number; height: number } {
  if (raw === undefined) return uprightSize(video);
  const crop = cropOf(raw.picture);
  const shown = development.demosaic === 'half' ? halved(crop) : crop;
  return turned(shown, turnOf(raw.picture.orientation));
}

type Way =
  | { readonly linearisation: Linearisation; readonly notes: readonly Finding[] }
  | { readonly findings: readonly Finding[] };

export const tagsText = ({ primaries, transfer, matrix }: ClipFacts['video']['colour']): string =>
  `primaries ${primaries ?? 'untagged'}, transfer ${transfer ?? 'untagged'}, matrix ${matrix ?? 'untagged'}`;

/** Log that no settings name: the tags do. */
function logByTags({
  interpretation,
  video: { colour },
}: Pick<ClipFacts, 'interpretation' | 'video'>): Finding[] {
  return interpretation?.inputFrom === 'tags' && isLogTag(colour.transfer)
    ? [finding('log-by-tags', tagsText(colour), 'an input transform in the settings')]
    : [];
}

/** Of code values: from what was recorded to scene-linear, by the settings and the file's tags. Of an upright picture. */
export function codedLinearisation({ video, interpretation, declared, exr }: ClipFacts): Way {
  const input = interpretation?.input ?? null;
  const { colour, pixelFormat, width, height } = video;
  const findings: Finding[] = [];
  if (input === null)
    findings.push(
      finding(
        'input-unknown',
        `tags of ${[colour.primaries, colour.transfer, colour.matrix].map((tag) => tag ?? 'nothing').join(', ')}`,
        'an input transform in the settings, or tags that leave no doubt',
      ),
    );
  if (!isPictureFormat(pixelFormat))
    findings.push(finding('master-source-unsupported', `pixel format ${pixelFormat}`, CODED));
  if (findings.length > 0 || input === null) return { findings };
  const { kind, bits, across, down } = layoutOf(pixelFormat, width, height);
  const range = colour.range ?? (kind === 'rgb' ? 'full' : 'limited');
  // The matrix beside the primaries is how the picture was coded, whatever its curve is; that it was not tagged is reported.
  const matrix = kind === 'yuv' ? (colour.matrix ?? matrixBeside(colour.primaries ?? 'bt709')) : null;
  if (matrix !== null && !isYcbcrMatrix(matrix))
    return {
      findings: [
        finding('master-source-unsupported', `matrix ${matrix}`, `one of: ${ycbcrMatrices.join(', ')}`),
      ],
    };
  const recorded = video.chromaSiting ?? 'left';
  const siting = across > 1 || down > 1 ? recorded : null;
  if (siting !== null && !isSiting(siting))
    return {
      findings: [
        finding('master-source-unsupported', `chroma at ${recorded}`, `one of: ${sitings.join(', ')}`),
      ],
    };
  const untagged = kind === 'yuv' && (colour.matrix === null || colour.range === null);
  return {
    linearisation: {
      kind: 'coded',
      input,
      pixelFormat,
      matrix,
      range,
      siting,
      declared:
        declared === undefined
          ? null
          : {
              decoder: declared.declared.name,
              version: declared.version,
              full: bits === 32 ? null : declared.declared.gives.full,
            },
      reader: exr?.reader ?? null,
    },
    notes: [
      ...(untagged
        ? [
            finding(
              'colour-assumed',
              `not tagged; taken for matrix ${matrix}, ${range} range`,
              'matrix and range tagged',
            ),
          ]
        : []),
      ...logByTags({ interpretation, video }),
    ],
  };
}

/** Which corrections are made, what is said of those that are not, and which of them hold the clip. */
function correctionsMade(
  asked: NonNullable<RawFacts['corrections']>,
  choice: CorrectionChoice,
): { readonly made: string[]; readonly refusals: Finding[]; readonly notes: Finding[] } {
  const words = (items: typeof asked): string =>
    items.map(({ name, why }) => (why === null ? name : `${name}: ${why}`)).join('; ');
  const one = (
    code: 'raw-opcode-not-applied' | 'raw-opcode-left-out',
    items: typeof asked,
    wanted: string,
  ) => (items.length === 0 ? [] : [finding(code, printable(words(items)), wanted)]);
  if (choice === 'leave')
    return {
      made: [],
      refusals: [],
      notes: one('raw-opcode-left-out', asked, 'left, as the settings say'),
    };
  const unmade = asked.filter(({ why }) => why !== null);
  return {
    made: asked.flatMap(({ name, why }) => (why === null ? [name] : [])),
    refusals: one(
      'raw-opcode-not-applied',
      unmade.filter(({ optional }) => !optional),
      'corrections that are made here, or such as may be left out',
    ),
    notes: one(
      'raw-opcode-left-out',
      unmade.filter(({ optional }) => optional),
      'corrections that are made here',
    ),
  };
}

/** Of raw frames, by the settings and what the frames say. */
export function rawLinearisation({ raw, interpretation }: ClipFacts, development: Development): Way {
  if (raw === undefined) throw new RangeError('a clip without raw facts');
  const {
    whiteBalance,
    exposureStops,
    anchor,
    corrections: choice = 'apply',
  } = interpretation?.raw ?? {
    whiteBalance: 'as-shot' as const,
    exposureStops: 0,
    anchor: 'sensor' as const,
  };
  const corrections = correctionsMade(raw.corrections ?? [], choice);
  if (corrections.refusals.length > 0) return { findings: corrections.refusals };
  const turn = turnOf(raw.picture.orientation);
  const shown = cropOf(raw.picture);
  if (development.demosaic === 'half' && (shown.width < 2 || shown.height < 2))
    return {
      findings: [
        finding(
          'master-source-unsupported',
          `${shown.width}x${shown.height} pixels`,
          'a block of 2x2 at least, for half',
        ),
      ],
    };
  const developed = developmentOf(raw.picture, { whiteBalance, exposureStops, anchor });
  if ('missing' in developed)
    return {
      findings: [
        finding(
          'raw-setting-missing',
          developed.missing,
          'tags and a white balance that leave a development',
        ),
      ],
    };
  const {
    matrix: [x, y, z],
    neutral,
    exposure,
    white,
  } = developed;
  const { name, version } = raw.decoder;
  return {
    linearisation: {
      kind: 'raw',
      decoder: name,
      decoderVersion: name === OWN_DECODER ? null : version,
      ...development,
      corrections: corrections.made,
      turn,
      mirrored: isMirrored(raw.picture.orientation),
      neutral: [...neutral],
      matrix: [[...x], [...y], [...z]],
      anchor,
      exposure,
      white: { ...white },
    },
    notes: corrections.notes,
  };
}
