/** What a deliverable that keeps its source as it is says of the picture, and what it has no place for. */
import { type Finding, finding } from '../../findings/finding.ts';
import { isUpright, turnOf, turnText } from '../../media/upright.ts';
import { earlierField, type FieldOrder, type VideoFacts } from '../../media/facts.ts';
import { namesOf } from '../../media/colour/h273.ts';
import type { ColourTags } from '../../media/colour/tags.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { isMatrix } from '../../proof/levels.ts';
import { rgbBasis } from '../../proof/tap.ts';
import { keptPixelFormats, type KeptPixels, keptPixels } from '../lossless-pixel-formats.ts';
import type { Profile } from '../schema.ts';
import { slicesOf } from './slices.ts';

export interface KeptPicture {
  readonly pixels: KeptPixels;
  readonly slices: number;
  readonly colour: ColourTags;
  /** What the fingerprints of both are taken for: the same of both, and never a claim about the picture. */
  readonly basis: { readonly matrix: string; readonly range: 'limited' | 'full' };
  readonly fieldOrder: FieldOrder;
}

/** Full range has names of its own in ffmpeg (`yuvj420p`); what they say is a tag. */
function tagsOf({ colour, pixelFormat }: VideoFacts): ColourTags {
  return { ...colour, range: colour.range ?? (pixelFormat.startsWith('yuvj') ? 'full' : null) };
}

function foreignTags({ primaries, transfer, matrix }: ColourTags): Finding[] {
  const known: readonly [string, string | null, readonly string[]][] = [
    ['primaries', primaries, namesOf('primaries')],
    ['transfer', transfer, namesOf('transfer')],
    // Those too that cannot be converted: here nothing is.
    ['matrix', matrix, namesOf('matrix')],
  ];
  return known
    .filter(([, value, list]) => value !== null && !list.includes(value))
    .map(([name, value, list]) =>
      finding('not-representable', `${name} ${value}`, `untagged, or one of: ${list.join(', ')}`),
    );
}

export function keptPictureOf(
  video: VideoFacts,
  { slices: asked }: Extract<Profile['video'], { codec: 'ffv1' }>,
): { picture: KeptPicture } | { findings: Finding[] } {
  const pixels = keptPixels(video.pixelFormat);
  const colour = tagsOf(video);
  const findings = [
    ...(isUpright(turnOf(video))
      ? []
      : [
          finding(
            'not-representable',
            `a picture to be ${turnText(turnOf(video))}`,
            'a picture that stands upright as it is coded',
          ),
        ]),
    ...foreignTags(colour),
  ];
  if (pixels === null)
    findings.push(
      finding(
        'not-representable',
        `pixel format ${video.pixelFormat}`,
        `one of: ${keptPixelFormats.join(', ')}`,
      ),
    );
  const slices = slicesOf(video, asked);
  if (slices === null)
    findings.push(
      finding(
        'raster-unsupported',
        `${video.width}x${video.height} of ${video.pixelFormat}`,
        'a picture that FFV1 can cut into slices',
      ),
    );
  if (findings.length > 0 || pixels === null || slices === null) return { findings };
  const basis = isRgb(video.pixelFormat)
    ? rgbBasis
    : {
        matrix: colour.matrix !== null && isMatrix(colour.matrix) ? colour.matrix : 'bt709',
        range: colour.range ?? 'limited',
      };
  // Frames of which nobody says that they have fields are whole (media/facts.ts); a decoder that says otherwise is found by the check.
  return {
    picture: {
      pixels,
      slices,
      colour,
      basis,
      fieldOrder: earlierField(video) === null ? 'progressive' : video.fieldOrder,
    },
  };
}
