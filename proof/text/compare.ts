/**
 * Burnt-in text in what the encoder is given, frame by frame while it is made: every sample of each window against the picture as it was before the text, darkened
 * in the box, under the words of that frame as our own code draws them.
 */
import type { Readable } from 'node:stream';
import { readFrames } from '../raw-frames.ts';
import { bytesOf, type PixelLayout, type SamplePlane, samplesOf } from '../encoder-input/samples.ts';
import type { Rectangle } from '../framing.ts';
import type { Font } from './font.ts';
import type { BurntIn } from './form.ts';
import { contrastRatio, LEAST_CONTRAST, lettersAndGround } from './contrast.ts';
import { EDGE, OUTSIDE, TextDrawer, type TextPicture, thinned, whereOf } from './picture.ts';
import { type LineReader, lineReader } from './read-line.ts';
import { textWindows } from './window.ts';
import { wordsOf } from './words.ts';

export interface TextCompareRequest {
  readonly burntIn: readonly BurntIn[];
  /** Of the encoder's input. */
  readonly picture: { readonly width: number; readonly height: number };
  readonly layout: PixelLayout;
  readonly font: Font;
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
  /** The lowest contrast of any text in any frame; null: no letters. */
  readonly contrast: number | null;
  /** The first of them. */
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
  readonly count: number;
}

const PLANES = ["Y'", 'Cb', 'Cr'] as const;

export class TextComparer {
  readonly #request: TextCompareRequest;
  readonly #items: readonly Item[];
  readonly #stacked: { readonly width: number; readonly height: number };
  readonly #faults: TextFault[] = [];
  #faulty = 0;
  #frames = 0;
  #samples = 0;
  #worst = 0;
  #contrast: number | null = null;

  constructor(request: TextCompareRequest) {
    this.#request = request;
    const { windows, stacked } = textWindows(request.burntIn, request.picture);
    this.#stacked = stacked;
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
    const { width, height } = this.#stacked;
    const size = bytesOf(this.#request.layout, width, 2 * height * this.#items.length);
    return readFrames(stream, size, (bytes) => this.#take(bytes));
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
    for (const [index, item] of this.#items.entries()) {
      const planes = (side: 'before' | 'given'): SamplePlane[] =>
        samplesOf(this.#request.layout, bytes, {
          ...this.#stacked,
          kept: item.window,
          count: 2 * this.#items.length,
          index: index + (side === 'before' ? 0 : this.#items.length),
        });
      this.#compare({ frame, index, item, before: planes('before'), given: planes('given') });
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
    readonly before: readonly SamplePlane[];
    readonly given: readonly SamplePlane[];
  }): void {
    const { layout } = this.#request;
    const { burntIn, window } = item;
    const { look, box } = burntIn;
    const words = wordsOf(burntIn.words, frame);
    const drawn = this.#drawn(item, words);
    const up = 2 ** (layout.bits - 8);
    const cover = look.cover.num / look.cover.den;
    let off: Off | null = null;
    let count = 0;
    let most = 0;
    for (const [plane, found] of given.entries()) {
      const [across, down] = plane === 0 ? [0, 0] : [layout.across, layout.down];
      const { picture, where } = drawn.planes[plane] as Drawn['planes'][number];
      const ground = up * (plane === 0 ? look.ground : 128);
      const letters = up * (plane === 0 ? look.letters : 128);
      const under = (before[plane] as SamplePlane).values;
      const boxed = {
        left: (box.left - window.left) >> across,
        top: (box.top - window.top) >> down,
        right: (box.left + box.width - window.left) >> across,
        bottom: (box.top + box.height - window.top) >> down,
      };
      for (let y = 0; y < found.height; y += 1)
        for (let x = 0; x < found.width; x += 1) {
          const at = y * found.width + x;
          const was = under[at] as number;
          const inBox = x >= boxed.left && x < boxed.right && y >= boxed.top && y < boxed.bottom;
          const base = inBox ? cover * ground + (1 - cover) * was : was;
          const covered = picture.covered[at] as number;
          const expected = base + covered * (letters - base);
          const kind = where[at] as number;
          const allowed =
            kind === OUTSIDE
              ? GROUND_ROUNDING
              : LETTER_ROUNDING +
                (plane === 0 ? 0 : NEUTRAL * (up - 1)) +
                (kind === EDGE ? EDGE_COVER * Math.abs(letters - base) : 0);
          const value = found.values[at] as number;
          const parts = (Math.abs(value - expected) - SLACK) / allowed;
          if (parts > 1) count += 1;
          if (parts <= most) continue;
          most = parts;
          off = {
            plane,
            x: (window.left >> across) + x,
            y: (window.top >> down) + y,
            found: value,
            expected,
            count,
          };
        }
      this.#samples += found.values.length;
    }
    this.#worst = Math.max(this.#worst, most);
    const luma = (given[0] as SamplePlane).values.map((value) => value / up);
    if (off !== null && count > 0) {
      const differs = { ...off, count };
      this.#report(() => ({
        frame,
        item: index,
        kind: 'differs',
        found: describe({ item, off: differs, luma, words, shown: this.#shown(item, frame, luma) }),
        expected: `"${words}", ${differs.expected.toFixed(1)} there`,
      }));
    }
    this.#judgeContrast({ frame, index, item, words, luma });
  }

  /** Words of another frame that the picture has instead. */
  #shown(item: Item, frame: number, luma: Float64Array): string | null {
    const { burntIn, reader, window } = item;
    if (burntIn.words.kind === 'same') return null;
    const picture = { width: window.width, height: window.height, values: luma };
    const near = [frame - 1, frame + 1, 0, frame - 2, frame + 2].filter((other) => other !== frame);
    const read = reader.read(picture, [...wordsOf(burntIn.words, 0)].length);
    const other = near.find((number) => wordsOf(burntIn.words, number) === read);
    return other === undefined ? null : `which is that of frame ${other}`;
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
    readonly luma: Float64Array;
  }): void {
    const { box } = item.burntIn;
    const { left, top, width } = item.window;
    const { covered } = item.drawer.draw(words);
    const values = new Float64Array(box.width * box.height);
    const parts = new Float32Array(box.width * box.height);
    for (let y = 0; y < box.height; y += 1) {
      const from = (box.top - top + y) * width + box.left - left;
      values.set(luma.subarray(from, from + box.width), y * box.width);
      parts.set(covered.subarray(from, from + box.width), y * box.width);
    }
    const codes = lettersAndGround(values, parts);
    if (codes === null) return;
    const contrast = contrastRatio(codes.letters, codes.ground);
    this.#contrast = Math.min(this.#contrast ?? contrast, contrast);
    if (contrast >= LEAST_CONTRAST) return;
    this.#report(() => ({
      frame,
      item: index,
      kind: 'invisible',
      found: `${item.burntIn.text}: letters of ${codes.letters.toFixed(0)} on ${codes.ground.toFixed(0)}, a contrast of ${contrast.toFixed(2)} to 1`,
      expected: `${LEAST_CONTRAST} to 1 or more`,
    }));
  }

  #report(fault: () => TextFault): void {
    this.#faulty += 1;
    if (this.#faults.length < DESCRIBED) this.#faults.push(fault());
  }
}

function describe({
  item: { reader, window, burntIn },
  off: { plane, x, y, found, count },
  luma,
  words,
  shown,
}: {
  readonly item: Item;
  readonly off: Off;
  readonly luma: Float64Array;
  readonly words: string;
  /** Words of another frame that are there. */
  readonly shown: string | null;
}): string {
  const read = reader.read({ width: window.width, height: window.height, values: luma }, [...words].length);
  const reads =
    read === null
      ? 'no text'
      : read === words
        ? 'the same words in another place or look'
        : `"${read}"${shown === null ? '' : `, ${shown}`}`;
  return `${burntIn.text}: ${reads}; ${PLANES[plane as 0 | 1 | 2]} ${found} at ${x}, ${y}${count === 1 ? '' : `, and ${count - 1} more samples`}`;
}
