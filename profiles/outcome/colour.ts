/** What the colours of a clip are taken for, and what they come out as. Nothing is guessed in silence: what is assumed is reported. */
import { type Finding, finding } from '../../findings/finding.ts';
import { type Matrix, namesOf, type Transfer } from '../../media/colour/h273.ts';
import type { VideoFacts } from '../../media/facts.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { traitsOf } from '../codecs.ts';
import type { Profile } from '../schema.ts';

/** Matrices that the scaler knows (profiles/ffmpeg-names.ts). */
const convertible: readonly Matrix[] = ['bt709', 'fcc', 'bt601-625', 'bt601', 'st240', 'bt2020'];

/** One curve under four numbers (H.273, TransferCharacteristics 1, 6, 14, 15): nothing to convert between them. */
const sameCurve: readonly string[] = ['bt709', 'bt601', 'bt2020-10', 'bt2020-12'] satisfies Transfer[];

/** The matrix that is used with these primaries (H.273, notes to MatrixCoefficients). */
export function matrixBeside(primaries: string): Matrix {
  if (primaries === 'bt2020' || primaries === 'bt601-625' || primaries === 'st240') return primaries;
  return primaries === 'bt601-525' ? 'bt601' : 'bt709';
}

export interface FullTags {
  readonly primaries: string;
  readonly transfer: string;
  /** `rgb` for RGB. */
  readonly matrix: string;
  readonly range: 'limited' | 'full';
}

export interface ColourPlan {
  /** What the decoded picture is taken for. */
  readonly source: FullTags;
  readonly output: FullTags;
}

function assumed(video: VideoFacts, rgb: boolean): { tags: FullTags; reported: string[] } {
  const reported: string[] = [];
  const or = (name: string, value: string | null, otherwise: string): string => {
    if (value === null) reported.push(`${name} ${otherwise}`);
    return value ?? otherwise;
  };
  const primaries = or('primaries', video.colour.primaries, 'bt709');
  const transfer = or('transfer', video.colour.transfer, primaries === 'bt2020' ? 'bt2020-10' : 'bt709');
  const matrix = rgb
    ? 'rgb'
    : or('matrix', video.colour.matrix === 'rgb' ? null : video.colour.matrix, matrixBeside(primaries));
  // H.264, H.265 and MPEG-2 say: limited, unless the stream says full; RGB of a file is full.
  const range = video.colour.range ?? (rgb || video.pixelFormat.startsWith('yuvj') ? 'full' : 'limited');
  return { tags: { primaries, transfer, matrix, range }, reported };
}

export function colourOf(
  video: VideoFacts,
  profile: Profile,
): { plan: ColourPlan; notes: Finding[] } | { findings: Finding[] } {
  const rgb = isRgb(video.pixelFormat);
  const { tags: source, reported } = assumed(video, rgb);
  if (reported.length > 0 && profile.colour.untagged === 'hold') {
    return {
      findings: [
        finding(
          'colour-untagged',
          `not tagged: ${reported.map((item) => item.split(' ')[0]).join(', ')}`,
          'primaries, transfer and matrix tagged',
        ),
      ],
    };
  }
  const known: readonly [string, string, readonly string[]][] = [
    ['primaries', source.primaries, namesOf('primaries')],
    ['transfer', source.transfer, namesOf('transfer')],
    ['matrix', source.matrix, rgb ? ['rgb'] : convertible],
  ];
  const foreign = known.filter(([, value, list]) => !list.includes(value));
  if (foreign.length > 0)
    return {
      findings: foreign.map(([name, value, list]) =>
        finding('colour-not-converted', `${name} ${value}`, `one of: ${list.join(', ')}`),
      ),
    };

  const wanted = profile.colour;
  const findings: Finding[] = [];
  if (wanted.primaries !== 'source' && wanted.primaries !== source.primaries)
    findings.push(
      finding(
        'colour-not-converted',
        `primaries ${source.primaries}`,
        `primaries ${wanted.primaries}, as the profile asks`,
      ),
    );
  const sameTransfer =
    wanted.transfer === source.transfer ||
    (wanted.transfer === 'bt709' && sameCurve.includes(source.transfer));
  if (wanted.transfer !== 'source' && !sameTransfer)
    findings.push(
      finding(
        'colour-not-converted',
        `transfer ${source.transfer}`,
        `transfer ${wanted.transfer}, as the profile asks`,
      ),
    );
  const range = wanted.range === 'source' ? (rgb ? 'limited' : source.range) : wanted.range;
  if (range === 'full' && !traitsOf(profile.video).carriesFullRange)
    findings.push(
      finding(
        'colour-not-converted',
        `full range with ${profile.video.codec}`,
        'range: limited in the profile, which converts the levels',
      ),
    );
  if (findings.length > 0) return { findings };

  const output: FullTags = {
    primaries: source.primaries,
    transfer: wanted.transfer === 'source' ? source.transfer : wanted.transfer,
    matrix:
      wanted.matrix === 'source' ? (rgb ? matrixBeside(source.primaries) : source.matrix) : wanted.matrix,
    range,
  };
  const notes =
    reported.length === 0
      ? []
      : [
          finding(
            'colour-assumed',
            `not tagged; taken for ${reported.join(', ')}`,
            'primaries, transfer and matrix tagged',
          ),
        ];
  return { plan: { source, output }, notes };
}
