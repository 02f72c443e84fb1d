/** What the colour tags come out as, and what an untagged source is taken for. No look is applied. */
import { type Finding, finding, type FindingSubject } from '../../findings/finding.ts';
import type { ColourTags, VideoFacts } from '../../media/facts.ts';
import type { Profile } from '../schema.ts';

export interface Colour {
  /** The source as it is taken: its tags, with what was assumed for those that are absent. */
  readonly taken: { readonly primaries: string; readonly transfer: string; readonly matrix: string; readonly range: 'limited' | 'full' };
  readonly tags: ColourTags;
  readonly findings: readonly Finding[];
}

/** RGB has no matrix (H.273 value 0, `gbr`), and stills of it use the full range unless they say otherwise. */
export function isRgb(pixelFormat: string): boolean {
  return /^(gbr|rgb|bgr|argb|abgr|0rgb|x2rgb)/.test(pixelFormat);
}

const known = (tag: string | null): string | null => (tag === null || ['unknown', 'reserved', 'unspecified'].includes(tag) ? null : tag);

export function colourOf(video: VideoFacts, profile: Profile, subject: FindingSubject): Colour {
  const rgb = isRgb(video.pixelFormat);
  const tags = { primaries: known(video.colour.primaries), transfer: known(video.colour.transfer), matrix: rgb ? 'gbr' : known(video.colour.matrix), range: video.colour.range };
  const findings: Finding[] = [];
  // H.264 and RDD 36 pictures without a range are limited by their standards; that is no assumption worth a word.
  const absent = (['primaries', 'transfer', 'matrix'] as const).filter((field) => tags[field] === null);
  if (absent.length > 0) {
    const found = `no ${absent.join(', no ')}`;
    if (profile.colour.untagged === 'hold') findings.push(finding('colour-untagged', found, 'tagged colours', subject));
    else findings.push(finding('colour-assumed', found, 'tagged colours; taken for BT.709', subject));
  }
  const taken = {
    primaries: tags.primaries ?? 'bt709',
    transfer: tags.transfer ?? 'bt709',
    matrix: tags.matrix ?? 'bt709',
    range: tags.range ?? (rgb ? ('full' as const) : ('limited' as const)),
  };
  for (const field of ['primaries', 'transfer'] as const) {
    const asked = profile.colour[field];
    if (asked !== 'source' && asked !== taken[field]) findings.push(finding('colour-not-converted', `${field} ${taken[field]}`, `${field} ${asked}, as the profile asks`, subject));
  }
  const matrix = profile.colour.matrix !== 'source' ? profile.colour.matrix : taken.matrix === 'gbr' ? (taken.primaries === 'bt2020' ? 'bt2020nc' : 'bt709') : taken.matrix;
  const range = profile.colour.range === 'source' ? taken.range : profile.colour.range;
  return { taken, tags: { primaries: taken.primaries, transfer: taken.transfer, matrix, range }, findings };
}
