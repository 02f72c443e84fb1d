import { formatRatio, type Ratio, roundedDivision, sameRatio } from '../../media/time/rate.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { type Check, compare, type Line } from '../check.ts';
import type { MeasuredMatroska } from '../measured.ts';

/** Whole pixels that a line is shown as wide as, where lines are not stretched. */
const shownAs = (width: number, { num, den }: Ratio): number =>
  Number(roundedDivision(BigInt(width) * BigInt(num), BigInt(den)));

/** Matroska tells the shape of a pixel by how wide the picture is shown, in whole pixels; the stream itself tells it exactly. */
function shape(
  found: Ratio,
  { pixelAspect: wanted, fieldOrder, width }: Outcome,
  matroska: MeasuredMatroska | null,
): Line[] {
  if (matroska === null) return [['pixel aspect', formatRatio(found), formatRatio(wanted)]];
  const [num, den] = matroska.frame.pixelAspect;
  const near = sameRatio(found, wanted) || shownAs(width, found) === shownAs(width, wanted);
  return [
    ['pixel aspect', near ? formatRatio(wanted) : formatRatio(found), formatRatio(wanted)],
    [
      'pixel aspect in the stream',
      num > 0 && den > 0 && sameRatio({ num, den }, wanted) ? formatRatio(wanted) : `${num}/${den}`,
      formatRatio(wanted),
    ],
    ['fields in the stream', matroska.frame.structure, fieldOrder],
  ];
}

/** Raster, pixel format, shape of a pixel, upright, progressive or with its fields in their order. */
export const raster: Check = {
  name: 'raster',
  rests: ['packets'],
  run: ({ measured: { facts, evidence, matroska }, outcome }) => {
    if (facts === null || evidence === null) return null;
    const { video } = facts;
    return compare('raster-differs', [
      ['raster', `${video.width}x${video.height}`, `${outcome.width}x${outcome.height}`],
      ['pixel format', video.pixelFormat, outcome.pixelFormat],
      ...shape(video.pixelAspect, outcome, matroska),
      ['pictures', evidence.pictures, 1],
      ['rotation', evidence.turnsByQuarters ? video.rotation : 'other than by quarters', 0],
      ['mirrored', video.mirrored === true ? 'yes' : 'no', 'no'],
      // A resolution-independent VC-3 stream has no interlaced form (ST 2019-1), and its reader says nothing of fields.
      [
        'fields',
        video.codec === 'vc3' && video.fieldOrder === 'unknown' ? 'progressive' : video.fieldOrder,
        outcome.fieldOrder,
      ],
    ]);
  },
};
