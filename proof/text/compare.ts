/**
 * Burnt-in text in what the encoder is given, frame by frame while it is made: every sample of each window against the picture as it was before the text, darkened
 * in the box, under the words of that frame as our own code draws them.
 */
import type { Readable } from 'node:stream';
import { readFrames } from '../raw-frames.ts';
import type { PixelLayout } from '../encoder-input/samples.ts';
import type { Rectangle } from '../framing.ts';
import type { Font } from './font.ts';
import { type BurntIn, isWatermark } from './form.ts';
import { contrastRatio, LEAST_CONTRAST, LettersAndGround } from './contrast.ts';
import { EDGE, OUTSIDE, TextDrawer, type TextPicture, thinned, whereOf } from './picture.ts';
import { type LineReader, lineReader, type Luma } from './read-line.ts';
import { textWindows } from './window.ts';
import { lumaOf, planesIn, type Stack, samplesIn, stackBytes, type WindowPlane } from './windows-in.ts';
import { wordsOf } from './words.ts';

export interface TextCompareRequest {
  readonly burntIn: readonly BurntIn[];
  /** Of the encoder's input. */
  readonly picture: { readonly width: number; readonly height: number };
  readonly layout: PixelLayout;
  readonly font: Font;
  /** Of the encoder's input, as tagged; null: not tagged. */
  readonly transfer: string | null;
}

/** One text in one frame that is not as it must be. */
export interface TextFault {
  readonly frame: number;
  /** Which of the texts. */
  readonly item: number;
  readonly kind: 'differs' | 'invisible';
  readonly found: string;
  readonly expected: string;
}

export interface TextVerdict {
  readonly frames: number;
  readonly samples: number;
  /** The farthest sample, in parts of what is allowed. */
  readonly worst: number;
  /** The lowest contrast of any text but watermarks in any frame; null: no letters. */
  readonly contrast: number | null;
  /** The first of them, and the first of every text. */
  readonly faults: readonly TextFault[];
  /** How many there are in all: texts of frames. */
  readonly faulty: number;
}

/** More are counted: each that is described is read, which takes longer than to compare it. */
const DESCRIBED = 12;

/** The ground is a whole code, and so is what is drawn on it. */
const GROUND_ROUNDING = 0.5;
/** Letters: the ground's rounding under an edge, and a blend in whole codes (FFmpeg cuts off). Codes of the delivered bits; measured: 1. */
const LETTER_ROUNDING = 1.5;
/** FFmpeg 5.1 makes neutral chroma of more bits by repeating those of 8: 514 of 10 bits, and not 512. In parts of a code of 8 bits, less one of its own. */
const NEUTRAL = 0.5;
/**
 * On the edge of letters, of the step from ground to letters: another renderer cuts curves into other lines (FreeType: to a quarter of a pixel). Measured over
 * 14 sizes from 8 to 103 pixels: at most 0.092.
 */
const EDGE_COVER = 0.13;
/** The same of chroma, whose samples stand for two or four of these: FFmpeg 5.1 weighs the pixels under one its own way. Measured on green and magenta: at most 0.18. */
const EDGE_CHROMA = 0.25;
/** Codes are binary fractions and fifths. */
const SLACK = 1e-6;

/** What a plane must be where words are drawn, kept for words that do not change. */
interface Drawn {
  readonly words: string;
  readonly planes: readonly { readonly picture: TextPicture; readonly where: Uint8Array }[];
}

interface Item {
  readonly burntIn: BurntIn;
  readonly window: Rectangle;
  readonly drawer: TextDrawer;
  readonly reader: LineReader;
  drawn: Drawn | null;
}

interface Off {
  readonly plane: number;
  readonly x: number;
  readonly y: number;
  readonly found: number;
  readonly expected: number;
  /** How far off, in parts of what is allowed. */
  readonly parts: number;
  /** Samples that are farther off than that. */
  readonly count: number;
}

const PLANES = ["Y'", 'Cb', 'Cr'] as const;

export class TextComparer {
  readonly #request: TextCompareRequest;
  readonly #items: readonly Item[];
  readonly #stack: Stack;
  readonly #faults: TextFault[] = [];
  #faulty = 0;
  #frames = 0;
  #samples = 0;
  #worst = 0;
  #contrast: number | null = null;

  constructor(request: TextCompareRequest) {
    this.#request = request;
    const { windows, stacked } = textWindows(request.burntIn, request.picture);
    this.#stack = { layout: request.layout, stacked, count: 2 * request.burntIn.length };
    this.#items = request.burntIn.map((burntIn, index) => {
      const window = windows[index] as Rectangle;
      return {
        burntIn,
        window,
        drawer: new TextDrawer(burntIn, window, request.font),
        reader: lineReader(burntIn, window, request.font),
        drawn: null,
      };
    });
  }

  /** Of each frame the windows as they were before any text, then as the encoder gets them, one below the other. */
  read(stream: Readable): Promise<void> {
    return readFrames(stream, stackBytes(this.#stack), (bytes) => this.#take(bytes));
  }

  /** The stream has ended. */
  verdict(): TextVerdict {
    return {
      frames: this.#frames,
      samples: this.#samples,
      worst: this.#worst,
      contrast: this.#contrast,
      faults: this.#faults,
      faulty: this.#faulty,
    };
  }

  #take(bytes: Buffer): void {
    const frame = this.#frames++;
    const samples = samplesIn(bytes, this.#stack);
    for (const [index, item] of this.#items.entries()) {
      const planes = (at: number): WindowPlane[] => planesIn(samples, this.#stack, at, item.window);
      this.#compare({ frame, index, item, before: planes(index), given: planes(index + this.#items.length) });
    }
  }

  #drawn(item: Item, words: string): Drawn {
    if (item.drawn?.words === words) return item.drawn;
    const { across, down } = this.#request.layout;
    const whole = item.drawer.draw(words);
    const small = thinned(whole, across, down);
    const luma = { picture: whole, where: whereOf(whole) };
    const chroma = { picture: small, where: whereOf(small) };
    item.drawn = { words, planes: [luma, chroma, chroma] };
    return item.drawn;
  }

  #compare({
    frame,
    index,
    item,
    before,
    given,
  }: {
    readonly frame: number;
    readonly index: number;
    readonly item: Item;
    readonly before: readonly WindowPlane[];
    readonly given: readonly WindowPlane[];
  }): void {
    const { layout } = this.#request;
    const words = wordsOf(item.burntIn.words, frame);
    const drawn = this.#drawn(item, words);
    let off: Off | null = null;
    let count = 0;
    for (const [plane, found] of given.entries()) {
      const own = planeOff({
        plane,
        item,
        layout,
        under: before[plane] as WindowPlane,
        found,
        drawn: drawn.planes[plane] as Drawn['planes'][number],
      });
      this.#samples += found.width * found.height;
      count += own.count;
      if (off === null || own.parts > off.parts) off = own;
    }
    if (off === null) return;
    this.#worst = Math.max(this.#worst, off.parts);
    const luma = (): Luma => lumaOf(given[0] as WindowPlane, layout.bits);
    if (count > 0) {
      const differs = { ...off, count };
      this.#report(index, () => ({
        frame,
        item: index,
        kind: 'differs',
        found: describe({ item, off: differs, luma: luma(), words, frame }),
        expected: `"${words}", ${differs.expected.toFixed(1)} there`,
      }));
    }
    // Of a watermark the profile says how much there is to be seen.
    if (!isWatermark(item.burntIn))
      this.#judgeContrast({ frame, index, item, words, luma: given[0] as WindowPlane });
  }

  #judgeContrast({
    frame,
    index,
    item,
    words,
    luma,
  }: {
    readonly frame: number;
    readonly index: number;
    readonly item: Item;
    readonly words: string;
    readonly luma: WindowPlane;
  }): void {
    const { box } = item.burntIn;
    const { left, top, width } = item.window;
    const { covered } = item.drawer.draw(words);
    const up = 2 ** (this.#request.layout.bits - 8);
    const fit = new LettersAndGround();
    for (let y = box.top - top; y < box.top - top + box.height; y += 1) {
      const line = luma.from + y * luma.stride;
      for (let x = box.left - left; x < box.left - left + box.width; x += 1)
        fit.add((luma.values[line + x] as number) / up, covered[y * width + x] as number);
    }
    const codes = fit.codes();
    if (codes === null) return;
    const contrast = contrastRatio(codes.letters, codes.ground, this.#request.transfer);
    this.#contrast = Math.min(this.#contrast ?? contrast, contrast);
    if (contrast >= LEAST_CONTRAST) return;
    this.#report(index, () => ({
      frame,
      item: index,
      kind: 'invisible',
      found: `${item.burntIn.text}: letters of ${codes.letters.toFixed(0)} on ${codes.ground.toFixed(0)}, a contrast of ${contrast.toFixed(2)} to 1`,
      expected: `${LEAST_CONTRAST} to 1 or more`,
    }));
  }

  #report(item: number, fault: () => TextFault): void {
    this.#faulty += 1;
    const isFirst = !this.#faults.some((one) => one.item === item);
    if (isFirst || this.#faults.length < DESCRIBED) this.#faults.push(fault());
  }
}

/** The farthest sample of a plane. */
function planeOff({
  plane,
  item: {
    burntIn: { look, box },
    window,
  },
  layout,
  under,
  found,
  drawn: { picture, where },
}: {
  readonly plane: number;
  readonly item: Item;
  readonly layout: PixelLayout;
  readonly under: WindowPlane;
  readonly found: WindowPlane;
  readonly drawn: Drawn['planes'][number];
}): Off {
  const [across, down] = plane === 0 ? [0, 0] : [layout.across, layout.down];
  const up = 2 ** (layout.bits - 8);
  const cover = look.cover.num / look.cover.den;
  const letters = up * (plane === 0 ? look.letters : 128);
  const opacity = look.opacity.num / look.opacity.den;
  const mixed = cover * up * (plane === 0 ? look.ground : 128);
  const edge = plane === 0 ? EDGE_COVER : EDGE_CHROMA;
  const rounding = LETTER_ROUNDING + (plane === 0 ? 0 : NEUTRAL * (up - 1));
  const left = (box.left - window.left) >> across;
  const right = (box.left + box.width - window.left) >> across;
  const top = (box.top - window.top) >> down;
  const bottom = (box.top + box.height - window.top) >> down;
  const { covered } = picture;
  const { width, height } = found;
  let count = 0;
  let most = Number.NEGATIVE_INFINITY;
  let worst = 0;
  for (let y = 0; y < height; y += 1) {
    const isRow = y >= top && y < bottom;
    const line = found.from + y * found.stride;
    const lineUnder = under.from + y * under.stride;
    for (let x = 0; x < width; x += 1) {
      const at = y * width + x;
      const was = under.values[lineUnder + x] as number;
      const base = isRow && x >= left && x < right ? mixed + (1 - cover) * was : was;
      const kind = where[at] as number;
      let expected = base;
      let allowed = GROUND_ROUNDING;
      if (kind !== OUTSIDE) {
        const step = opacity * (letters - base);
        expected += (covered[at] as number) * step;
        allowed = kind === EDGE ? rounding + edge * Math.abs(step) : rounding;
      }
      const parts = (Math.abs((found.values[line + x] as number) - expected) - SLACK) / allowed;
      if (parts > 1) count += 1;
      if (parts > most) {
        most = parts;
        worst = at;
      }
    }
  }
  const [x, y] = [worst % width, Math.floor(worst / width)];
  const was = under.values[under.from + y * under.stride + x] as number;
  const base = y >= top && y < bottom && x >= left && x < right ? mixed + (1 - cover) * was : was;
  return {
    plane,
    x: (window.left >> across) + x,
    y: (window.top >> down) + y,
    found: found.values[found.from + y * found.stride + x] as number,
    expected: base + opacity * (covered[worst] as number) * (letters - base),
    parts: most,
    count,
  };
}

function describe({
  item: { reader, burntIn },
  off: { plane, x, y, found, count },
  luma,
  words,
  frame,
}: {
  readonly item: Item;
  readonly off: Off;
  readonly luma: Luma;
  readonly words: string;
  readonly frame: number;
}): string {
  const read = reader.read(luma, [...words].length);
  const near = [frame - 1, frame + 1, 0, frame - 2, frame + 2];
  const other =
    burntIn.words.kind === 'same' || read === words
      ? undefined
      : near.find((number) => wordsOf(burntIn.words, number) === read);
  const reads =
    read === null
      ? 'no text'
      : read === words
        ? 'the same words in another place or look'
        : `"${read}"${other === undefined ? '' : `, which is that of frame ${other}`}`;
  return `${burntIn.text}: ${reads}; ${PLANES[plane as 0 | 1 | 2]} ${found} at ${x}, ${y}${count === 1 ? '' : `, and ${count - 1} more samples`}`;
}
