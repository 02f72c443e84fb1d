/** What is burnt into a picture and where: decided from the clip's facts and the profile alone, so that maker and checker go by one statement of it. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { Rectangle } from '../../proof/framing.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import type { BurntIn, Words } from '../../proof/text/form.ts';
import { wordsOf } from '../../proof/text/words.ts';
import { drawsText, type Profile } from '../schema.ts';
import { whiteSignal } from '../shown/display.ts';
import { type Column, lineHeight, placed, type Row, stripDepth } from './covered.ts';
import { even, fitted, measures } from './letters.ts';
import { type Said, saidBy, type SaidOf, type TextItem } from './said.ts';
import { smallestLetters, smallestWatermark } from './smallest.ts';
import { watermarkOf } from './watermark.ts';

export interface BurnInRequest extends Omit<SaidOf, 'profile'> {
  readonly profile: Pick<Profile, 'burn_in' | 'watermark' | 'name' | 'video'>;
  /** Of the delivered picture. */
  readonly size: { readonly width: number; readonly height: number };
  /** Of the delivered picture, as tagged; null: not tagged. */
  readonly transfer: string | null;
}

/** White letters on a picture of which three fifths are black: the white of a page (whiteSignal). Limited range's codes, whatever the range: FFmpeg draws those in either. */
const LOOK = {
  ground: 16,
  cover: { num: 3, den: 5 },
  opacity: { num: 1, den: 1 },
} as const satisfies Omit<BurntIn['look'], 'letters'>;
const lettersFor = (transfer: string | null): number => 16 + Math.round(219 * whiteSignal(transfer));

/** Pixels between two boxes, and of both together to the sides of the picture: each is looked at with a ring around it. */
const LEAST_MARGIN = 8;

/** What was left out at the end of a text. */
const CUT_OFF = '…';

/** How much of a row a text has: with one in the middle and one beside it, a third each. */
function shareOf(items: readonly TextItem[], row: Row): number {
  const columns = new Set(
    items.map(({ place }) => placed(place)).flatMap((one) => (one.row === row ? [one.column] : [])),
  );
  return columns.size > 1 && columns.has('centre') ? 3 : columns.size;
}

/** `notes` hold nothing. */
export type BurnInDecision =
  | { readonly burnIn: readonly BurntIn[]; readonly notes: readonly Finding[] }
  | { readonly findings: readonly Finding[] };

/** A line with its size, before it has a place from above to below. */
interface Line {
  readonly item: TextItem;
  readonly row: Row;
  readonly column: Column;
  readonly tall: number;
  readonly words: Words;
  readonly from: string | null;
  readonly size: number;
  readonly left: number;
  readonly width: number;
  readonly height: number;
}

export function burnInOf(request: BurnInRequest): BurnInDecision {
  const { profile, size: picture, transfer, facts } = request;
  if (!drawsText(profile)) return { burnIn: [], notes: [] };
  const font = burnInFace();
  const notes: Finding[] = [];
  const refusals: Finding[] = [];
  const smallest = smallestLetters(profile.video);
  const letters = lettersFor(transfer);

  const lineOf = (item: TextItem, said: Said): Line => {
    const { row, column } = placed(item.place);
    const tall = lineHeight(item.height_percent, picture.height, profile.video);
    const margin = Math.max(LEAST_MARGIN, Math.round(tall / 2));
    const room = Math.floor(picture.width / shareOf(profile.burn_in, row)) - margin;
    const whole = [...(said.kind === 'name' ? said.words : wordsOf(said.words, 0))];
    const { size, most } = fitted(font, { characters: whole.length, wanted: tall, smallest, room });
    // A label that is cut off would be another one.
    const isCut = said.kind === 'name' && whole.length > most;
    const shown = isCut ? [...whole.slice(0, most - 1), CUT_OFF] : whole;
    if (isCut)
      notes.push(
        finding(
          'burn-in-shortened',
          `${item.text}: ${most} of ${whole.length} characters, in letters of ${size} pixels`,
          'room for all of them',
        ),
      );
    const { pitch, height, width } = measures(font, size);
    const wide = width(shown.length, pitch);
    const side = Math.round(margin / 2);
    const lefts: Readonly<Record<Column, number>> = {
      left: side,
      centre: (picture.width - wide) / 2,
      right: picture.width - side - wide,
    };
    return {
      ...{ item, row, column, tall, size, height, width: wide, from: said.from },
      words: said.kind === 'name' ? { kind: 'same', text: shown.join('') } : said.words,
      left: even(lefts[column]),
    };
  };

  const lines = profile.burn_in.map((item) => {
    const decided = saidBy(item, { ...request, profile: profile.name }, font);
    notes.push(...decided.notes);
    refusals.push(...decided.refusals);
    return lineOf(item, decided.said);
  });
  const burnIn = lines.map((line): BurntIn => {
    const { item, words, from, size, left, width, height } = line;
    const top = topOf(line, lines, picture.height);
    const { pitch, side, above } = measures(font, size);
    return {
      ...{ text: item.text, from, words },
      letters: { size, pitch, left: left + side, baseline: top + above },
      box: { left, top, width, height },
      look: { letters, ...LOOK },
    };
  });
  const mark =
    profile.watermark === undefined
      ? null
      : watermarkOf({
          asked: profile.watermark,
          stated: facts.burnIn?.watermark ?? null,
          picture,
          free: {
            from: stripDepth(profile, 'top', picture.height),
            to: picture.height - stripDepth(profile, 'bottom', picture.height),
          },
          smallest: smallestWatermark(profile.video),
          look: { letters, ground: LOOK.ground },
          isHighRange: transfer === 'pq' || transfer === 'hlg',
          font,
        });
  refusals.push(...(mark?.refusals ?? []));
  const all = [...burnIn, ...(mark?.items ?? [])];
  const problem = misplaced(all, picture);
  if (problem !== null)
    refusals.push(
      finding(
        'burn-in-no-room',
        problem,
        `every text of ${all.length} in its own place in ${picture.width}x${picture.height}`,
      ),
    );
  return refusals.length === 0 ? { burnIn: all, notes } : { findings: refusals };
}

/** Lines of one place lie one below the other, in the order of the profile. */
function topOf(line: Line, lines: readonly Line[], pictureHeight: number): number {
  const gap = ({ tall }: Line): number => even(Math.round(tall / 4));
  const own = lines.filter(({ row, column }) => row === line.row && column === line.column);
  const at = own.indexOf(line);
  const deep = (some: readonly Line[]): number => some.reduce((sum, one) => sum + gap(one) + one.height, 0);
  return line.row === 'top' ? deep(own.slice(0, at)) + gap(line) : even(pictureHeight - deep(own.slice(at)));
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
