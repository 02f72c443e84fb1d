/**
 * The contact sheet of a roll: one still of each clip with its name, start timecode, length and verdict. One JPEG, or several
 * where a roll has more clips than go on a page of paper. Pure.
 */
import { count } from '../../findings/human.ts';
import { type Colour, drawWords, fill, fittedWords, pitchOf, place } from '../picture/letters.ts';
import type { Picture } from '../picture/picture.ts';

/** Box of a picture; pictures of other shapes lie within. */
export const SHEET_PICTURE = { width: 384, height: 216 } as const;
const COLUMNS = 5;
const ROWS = 12;
export const CLIPS_OF_A_SHEET = COLUMNS * ROWS;
/** Room for the head of a sheet that has one clip alone. */
const LEAST_COLUMNS = 3;

const MARGIN = 56;
const GAP = 28;
const HEAD = 112;
const NAME = { size: 18, below: 28 } as const;
const LINE = { size: 15, below: 52 } as const;
const CELL_HEIGHT = SHEET_PICTURE.height + 72;
const PAPER: Colour = [250, 249, 246];
const INK: Colour = [28, 27, 25];
const SOFT: Colour = [92, 88, 80];
const HELD: Colour = [157, 38, 26];
const EMPTY: Colour = [226, 223, 216];

export interface SheetClip {
  readonly name: string;
  readonly start: string;
  readonly length: string;
  readonly verdict: 'ready' | 'held';
  /** Within the box; null: there is none. */
  readonly picture: Picture | null;
}

export interface SheetRequest {
  readonly day: string;
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  readonly copies: number;
  /** How many clips the roll has in all. */
  readonly clipsOfRoll: number;
  /** Of this sheet, at most CLIPS_OF_A_SHEET. */
  readonly clips: readonly SheetClip[];
  /** Which sheet it is, from 1, and of how many. */
  readonly sheet: number;
  readonly sheets: number;
}

const lettersIn = (width: number, size: number): number => Math.floor(width / pitchOf(size));

export function sheetPicture(request: SheetRequest): Picture {
  const { clips } = request;
  const columns = Math.max(LEAST_COLUMNS, Math.min(COLUMNS, clips.length));
  const rows = Math.ceil(clips.length / columns);
  const width = 2 * MARGIN + columns * SHEET_PICTURE.width + (columns - 1) * GAP;
  const height = MARGIN + HEAD + rows * CELL_HEIGHT + (rows - 1) * GAP + MARGIN;
  const sheet: Picture = { width, height, samples: new Uint8Array(3 * width * height) };
  fill(sheet, { x: 0, y: 0, width, height }, PAPER);
  drawHead(sheet, request);
  for (const [index, clip] of clips.entries())
    drawClip(sheet, clip, {
      x: MARGIN + (index % columns) * (SHEET_PICTURE.width + GAP),
      y: MARGIN + HEAD + Math.floor(index / columns) * (CELL_HEIGHT + GAP),
    });
  return sheet;
}

function drawHead(
  sheet: Picture,
  { day, roll, verdict, copies, clipsOfRoll, sheet: number, sheets }: SheetRequest,
): void {
  const room = sheet.width - 2 * MARGIN;
  const title = { size: 34, x: MARGIN, y: MARGIN + 32 };
  drawWords(sheet, { ...title, words: fittedWords(roll, lettersIn(room, title.size)), colour: INK });
  const facts = [
    day,
    verdict === 'ready' ? `ready (${count(copies, 'copy', 'copies')})` : 'HELD',
    count(clipsOfRoll, 'clip'),
    ...(sheets > 1 ? [`sheet ${number} of ${sheets}`] : []),
  ].join('   ');
  drawWords(sheet, {
    words: fittedWords(facts, lettersIn(room, NAME.size)),
    x: MARGIN,
    y: title.y + 38,
    size: NAME.size,
    colour: verdict === 'ready' ? SOFT : HELD,
  });
}

function drawClip(sheet: Picture, clip: SheetClip, at: { readonly x: number; readonly y: number }): void {
  const { picture, verdict } = clip;
  const isHeld = verdict === 'held';
  if (isHeld)
    fill(
      sheet,
      { x: at.x - 4, y: at.y - 4, width: SHEET_PICTURE.width + 8, height: SHEET_PICTURE.height + 8 },
      HELD,
    );
  if (picture === null || picture.width < SHEET_PICTURE.width || picture.height < SHEET_PICTURE.height)
    fill(sheet, { ...at, ...SHEET_PICTURE }, EMPTY);
  if (picture === null)
    drawWords(sheet, { words: 'no still', x: at.x + 16, y: at.y + 32, size: LINE.size, colour: SOFT });
  else
    place(sheet, picture, {
      x: at.x + Math.floor((SHEET_PICTURE.width - picture.width) / 2),
      y: at.y + Math.floor((SHEET_PICTURE.height - picture.height) / 2),
    });
  const under = at.y + SHEET_PICTURE.height;
  drawWords(sheet, {
    words: fittedWords(clip.name, lettersIn(SHEET_PICTURE.width, NAME.size)),
    x: at.x,
    y: under + NAME.below,
    size: NAME.size,
    colour: INK,
  });
  drawWords(sheet, {
    words: fittedWords(
      `${clip.start}  ${clip.length}  ${isHeld ? 'HELD' : 'ready'}`,
      lettersIn(SHEET_PICTURE.width, LINE.size),
    ),
    x: at.x,
    y: under + LINE.below,
    size: LINE.size,
    colour: isHeld ? HELD : SOFT,
  });
}
