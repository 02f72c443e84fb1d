/** A watermark: letters that the picture is seen through, placed between the strips of the other texts. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Font } from '../../proof/text/font.ts';
import type { BurntIn } from '../../proof/text/form.ts';
import type { Profile } from '../schema.ts';
import { even, fitted, measures, unwritable, writable } from './letters.ts';
import { wordsRefused } from './said.ts';

export interface WatermarkRequest {
  readonly asked: NonNullable<Profile['watermark']>;
  /** Words that the settings state; null: none. */
  readonly stated: string | null;
  readonly picture: { readonly width: number; readonly height: number };
  /** Lines between the strips of the other texts. */
  readonly free: { readonly from: number; readonly to: number };
  readonly smallest: number;
  readonly look: Pick<BurntIn['look'], 'letters' | 'ground'>;
  /** Pictures may be brighter than the letters: PQ and HLG. */
  readonly isHighRange: boolean;
  readonly font: Font;
}

/** Parts of 255, an odd number: halves do not occur where samples are mixed. */
const WHOLE = 255;
/** Where pictures are brighter than white letters, the ground is darkened by so much at least that it stays darker than they are. */
const HIGH_RANGE_COVER = 128;
/** Share of the width that one line has. */
const WIDEST = { centred: { num: 9, den: 10 }, repeated: { num: 9, den: 20 } } as const;
/** Middles of the lines, in parts of picture width and of the lines between the strips. */
const MIDDLES = {
  centred: [[1 / 2, 1 / 2]],
  repeated: [
    [1 / 4, 1 / 6],
    [3 / 4, 1 / 6],
    [1 / 2, 1 / 2],
    [1 / 4, 5 / 6],
    [3 / 4, 5 / 6],
  ],
} as const;
/** Pixels between a line and what lies above and below it. */
const LEAST_MARGIN = 8;

export function watermarkOf({
  asked,
  stated,
  picture,
  free,
  smallest,
  look,
  isHighRange,
  font,
}: WatermarkRequest): { readonly items: readonly BurntIn[]; readonly refusals: readonly Finding[] } {
  const from = asked.words === null ? 'settings' : 'profile';
  const words = (asked.words ?? stated ?? '').trim();
  const refused = (item: Finding) => ({ items: [], refusals: [item] });
  if (words === '')
    return refused(finding('watermark-missing', 'no words', 'words in the profile or in the settings'));
  const unknown = unwritable(words, font);
  if (unknown.length > 0) return refused(wordsRefused(`watermark of the ${from}`, words, unknown));
  const text = writable(words, font).text;
  const characters = [...text].length;
  const { num, den } = WIDEST[asked.layout];
  const room = Math.floor((picture.width * num) / den) - LEAST_MARGIN;
  const lines = asked.layout === 'centred' ? 1 : 3;
  const tall = Math.floor((free.to - free.from) / lines) - LEAST_MARGIN;
  const wanted = Math.max(smallest, Math.round((picture.height * asked.height_percent) / 100));
  const { size, most } = fitted(font, { characters, wanted, smallest, room });
  const { pitch, side, above, height, width } = measures(font, size);
  if (most < characters || height > tall)
    return refused(
      finding(
        'burn-in-no-room',
        `a watermark of ${characters} characters needs ${width(characters, pitch)}x${height} pixels in letters of ${size}`,
        `${room}x${Math.max(0, tall)} or less`,
      ),
    );
  const wide = width(characters, pitch);
  const opacity = Math.round((WHOLE * asked.opacity_percent) / 100);
  const cover = isHighRange ? Math.max(opacity, HIGH_RANGE_COVER) : opacity;
  const items = MIDDLES[asked.layout].map(([across, down]): BurntIn => {
    const left = even(Math.round(picture.width * across - wide / 2));
    const top = even(Math.round(free.from + (free.to - free.from) * down - height / 2));
    return {
      text: 'watermark',
      from,
      words: { kind: 'same', text },
      letters: { size, pitch, left: left + side, baseline: top + above },
      box: { left, top, width: wide, height },
      look: { ...look, cover: { num: cover, den: WHOLE }, opacity: { num: opacity, den: WHOLE } },
    };
  });
  return { items, refusals: [] };
}
