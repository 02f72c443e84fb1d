/** Fields of pictures that lie otherwise than they are seen: which lines they are there, and the frames that are made of them. Pure. */
import { earlierField, type VideoFacts } from './facts.ts';
import { isQuarter, turnOf } from './upright.ts';

/** As if each frame of fields had been recorded whole, in the lines that it is coded in: so masters have them before they are turned. */
export const madeWhole = <Facts extends { readonly video: VideoFacts }>(facts: Facts): Facts =>
  earlierField(facts.video) === null
    ? facts
    : { ...facts, video: { ...facts.video, fieldOrder: 'progressive' } };

/** Lines of two fields that are columns of the upright picture: they cannot be told apart there. */
export const fieldsLieAcross = (video: VideoFacts): boolean =>
  earlierField(video) !== null && isQuarter(turnOf(video));

const SIDES = ['top', 'right', 'bottom', 'left'] as const;
export type FieldSide = (typeof SIDES)[number];

/** On which side of the later field's lines those of the earlier one are seen; null: frames are whole. A mirror leaves lines where they are. */
export function earlierSide(video: VideoFacts): FieldSide | null {
  const earlier = earlierField(video);
  if (earlier === null) return null;
  return SIDES[(SIDES.indexOf(earlier) + video.rotation / 90) % 4] as FieldSide;
}
