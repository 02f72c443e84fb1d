/** The display of a profile: which rendering is made for it, how its code values are tagged, and what a white is on it. */
import type { Limiting } from '../../media/colour/output/displays.ts';
import type { VideoFacts } from '../../media/facts.ts';
import type { Profile } from '../schema.ts';
import type { ShownDisplay } from './schema.ts';

type Asked = Pick<NonNullable<Profile['display']>, 'encoding' | 'peak' | 'limiting'>;

/** High dynamic range of ITU-R BT.2100. */
export const isHighRange = (encoding: ShownDisplay): boolean => encoding !== 'bt1886-bt709';

/** cd/m², and primaries that no colour lies beyond: as the profile has them, or the usual ones of the encoding. */
export function renderingFor({ encoding, peak, limiting }: Asked): {
  readonly peak: number;
  readonly limiting: Limiting;
} {
  const high = isHighRange(encoding);
  return { peak: peak ?? (high ? 1000 : 100), limiting: limiting ?? (high ? 'p3-d65' : 'bt709') };
}

/** Tags of what a display takes. BT.1886 has no number in H.273; pictures for it are tagged as those of BT.709 are (common practice, no source). */
export const displayTags: Readonly<Record<ShownDisplay, VideoFacts['colour']>> = {
  'bt1886-bt709': { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
  'pq-bt2020': { primaries: 'bt2020', transfer: 'pq', matrix: 'rgb', range: 'full' },
  'hlg-bt2020': { primaries: 'bt2020', transfer: 'hlg', matrix: 'rgb', range: 'full' },
};

/** The signal of white that is not brighter than a page: all of it in standard range; in BT.2100 that of 203 cd/m² (ITU-R BT.2408, Table 1). By tagged transfer. */
export const whiteSignal = (transfer: string | null): number =>
  transfer === 'pq' ? 0.58 : transfer === 'hlg' ? 0.75 : 1;
