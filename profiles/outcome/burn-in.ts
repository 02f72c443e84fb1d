/** What is burnt into a picture and where: decided from the clip's facts and the profile alone, so that maker and checker go by one statement of it. */
import { finding, type Finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import type { Font } from '../../proof/text/font.ts';
import type { BurntIn, Words } from '../../proof/text/form.ts';
import { wordsOf } from '../../proof/text/words.ts';
import type { Rectangle } from '../../proof/framing.ts';
import type { Profile } from '../schema.ts';
import { whiteSignal } from '../shown/display.ts';
import { lineHeight, SMALLEST_LETTERS } from './covered.ts';

export interface BurnInRequest {
  readonly profile: Pick<Profile, 'burn_in' | 'name'>;
  /** Of the delivered picture. */
  readonly size: { readonly width: number; readonly height: number };
  /** Of the first frame; null: none. */
  readonly timecode: Timecode | null;
  /** `clip` as the camera named it; `reel` of the source, or the roll. */
  /** Of the delivered picture, as tagged; null: not tagged. */
  readonly transfer: string | null;
  readonly names: { readonly clip: string; readonly roll: string; readonly reel: string };
}

type Item = Profile['burn_in'][number];

/** White letters on a picture of which three fifths are black: the white of a page (whiteSignal). Limited range's codes, whatever the range: FFmpeg draws those in either. */
const LOOK = { ground: 16, cover: { num: 3, den: 5 } } as const satisfies Omit<BurntIn['look'], 'letters'>;
const lettersFor = (transfer: string | null): number => 16 + Math.round(219 * whiteSignal(transfer));

/** Pixels between two boxes, and of both together to the sides of the picture: each is looked at with a ring around it. */
const LEAST_MARGIN = 8;

/** What was left out at the end of a text. */
const CUT_OFF = '…';

/** Written from right to left, or joined: which glyphs those are takes more than a font. */
const SHAPED = /[\p{Script=Arabic}\p{Script=Hebrew}\p{Script=Syriac}\p{Script=Thaana}\p{Script=Nko}]/u;
/** Marks are put on the letter before, and controls are no letters. */
const NO_LETTER = /[\p{M}\p{C}\p{Zl}\p{Zp}]/u;

/** A character that is drawn as it is: one glyph in its own cell, within the line's box. */
function isWritable(character: string, font: Font, units: { advance: number; over: number }): boolean {
  if (character === ' ') return true;
  if (NO_LETTER.test(character) || SHAPED.test(character)) return false;
  const glyph = font.glyphOf(character.codePointAt(0) as number);
  if (glyph === 0 || font.advanceOf(glyph) !== units.advance) return false;
  const points = font.contoursOf(glyph).flat();
  return (
    points.length > 0 &&
    points.every(
      ({ x, y }) =>
        y <= font.ascender + units.over &&
        y >= font.descender - units.over &&
        x >= -units.advance / 4 &&
        x <= 1.25 * units.advance,
    )
  );
}

const escaped = (character: string): string => `\\u{${(character.codePointAt(0) as number).toString(16)}}`;

/** A name as it can be drawn, and what of it could not be. */
export function writable(
  name: string,
  font: Font,
): { readonly text: string; readonly escaped: readonly string[] } {
  const units = { advance: advanceOf(font), over: font.unitsPerEm / 8 };
  const unknown = new Set<string>();
  // A letter and its marks are one glyph where there is one.
  const text = [...printable(name).normalize('NFC')]
    .map((character) => {
      if (isWritable(character, font, units)) return character;
      unknown.add(character);
      return escaped(character);
    })
    .join('');
  return { text, escaped: [...unknown] };
}

const advanceOf = (font: Font): number => font.advanceOf(font.glyphOf(0x30));
const even = (value: number): number => value - (value % 2);

/** Of letters of `size`, pixels. */
function measures(font: Font, size: number) {
  const pixels = (units: number): number => (units * size) / font.unitsPerEm;
  const side = Math.round(size / 4);
  const above = Math.round(size / 8) + Math.ceil(pixels(font.ascender));
  const below = Math.round(size / 8) + Math.ceil(pixels(-font.descender));
  return {
    pitch: Math.floor(pixels(advanceOf(font))),
    side,
    above,
    height: 2 * Math.ceil((above + below) / 2),
    width: (characters: number, pitch: number): number => 2 * Math.ceil((characters * pitch + 2 * side) / 2),
  };
}

/** Letter size and how many characters fit: smaller letters first, then fewer. */
function fitted(
  font: Font,
  characters: number,
  wanted: number,
  room: number,
): { size: number; most: number } {
  let size = wanted;
  const wide = (): number => {
    const { width, pitch } = measures(font, size);
    return width(characters, pitch);
  };
  while (size > SMALLEST_LETTERS && wide() > room) size -= 1;
  const { pitch, side } = measures(font, size);
  return { size, most: Math.max(1, Math.floor((even(room) - 2 * side) / pitch)) };
}

/** How much of a row a text has: with one in the middle and one beside it, a third each. */
function shareOf(items: readonly Item[], row: string): number {
  const own = items.filter(({ place }) => place.startsWith(row));
  return own.length > 1 && own.some(({ place }) => place.endsWith('centre')) ? 3 : own.length;
}

/** `notes` hold nothing. */
export type BurnInDecision =
  | { readonly burnIn: readonly BurntIn[]; readonly notes: readonly Finding[] }
  | { readonly findings: readonly Finding[] };

export function burnInOf({
  profile,
  size: picture,
  timecode,
  transfer,
  names,
}: BurnInRequest): BurnInDecision {
  if (profile.burn_in.length === 0) return { burnIn: [], notes: [] };
  const font = burnInFace();
  const notes: Finding[] = [];
  const burnIn = profile.burn_in.flatMap((item): BurntIn[] => {
    const named = { ...names, profile: profile.name, timecode: '' }[item.text];
    const name = writable(named, font);
    if (name.escaped.length > 0)
      notes.push(
        finding(
          'burn-in-unwritable',
          `${item.text} ${JSON.stringify(printable(named))}: ${name.escaped.map((character) => `${character} (${escaped(character).slice(3, -1)})`).join(', ')}`,
          'letters that the font has',
        ),
      );
    const counted: Words | null =
      item.text === 'timecode' && timecode !== null ? { kind: 'timecode', start: timecode } : null;
    const whole = [...(counted === null ? name.text : wordsOf(counted, 0))];
    if (whole.length === 0) return [];
    const tall = lineHeight(item, picture.height);
    const margin = Math.max(LEAST_MARGIN, Math.round(tall / 2));
    const [row, column] = item.place.split('-') as ['top' | 'bottom', 'left' | 'centre' | 'right'];
    const room = Math.floor(picture.width / shareOf(profile.burn_in, row)) - margin;
    const { size, most } = fitted(font, whole.length, tall, room);
    // A label that is cut off would be another one.
    const shown = whole.length <= most || counted !== null ? whole : [...whole.slice(0, most - 1), CUT_OFF];
    const { pitch, side, above, height, width } = measures(font, size);
    const wide = width(shown.length, pitch);
    const left =
      column === 'left'
        ? even(Math.round(margin / 2))
        : even(
            column === 'right' ? picture.width - Math.round(margin / 2) - wide : (picture.width - wide) / 2,
          );
    const edge = even(Math.round(tall / 4));
    const top = row === 'top' ? edge : even(picture.height - edge - height);
    return [
      {
        text: item.text,
        words: counted ?? { kind: 'same', text: shown.join('') },
        letters: { size, pitch, left: left + side, baseline: top + above },
        box: { left, top, width: wide, height },
        look: { letters: lettersFor(transfer), ...LOOK },
      },
    ];
  });
  const problem = misplaced(burnIn, picture);
  return problem === null
    ? { burnIn, notes }
    : {
        findings: [
          finding(
            'burn-in-no-room',
            problem,
            `every text of ${profile.burn_in.length} in its own place in ${picture.width}x${picture.height}`,
          ),
        ],
      };
}

/** Boxes that do not lie in the picture, or on each other; null: none. */
function misplaced(
  burnIn: readonly BurntIn[],
  picture: { readonly width: number; readonly height: number },
): string | null {
  const apart = (a: Rectangle, b: Rectangle): boolean =>
    a.left + a.width <= b.left ||
    b.left + b.width <= a.left ||
    a.top + a.height <= b.top ||
    b.top + b.height <= a.top;
  for (const [index, { text, box }] of burnIn.entries()) {
    if (
      box.left < 0 ||
      box.top < 0 ||
      box.left + box.width > picture.width ||
      box.top + box.height > picture.height
    )
      return `${text} would be ${box.width}x${box.height}`;
    const other = burnIn.find((one, at) => at < index && !apart(one.box, box));
    if (other !== undefined) return `${text} would lie on ${other.text}`;
  }
  return null;
}
