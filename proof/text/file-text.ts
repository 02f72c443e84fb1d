/** Burnt-in text in a finished file, frame by frame while it is decoded: read by our own code, without the source and without what the encoder was given. */
import type { Readable } from 'node:stream';
import type { PixelLayout } from '../encoder-input/samples.ts';
import type { Rectangle } from '../framing.ts';
import { readFrames } from '../raw-frames.ts';
import type { Font } from './font.ts';
import { type BurntIn, isWatermark } from './form.ts';
import { type Evidence, isInstead, type LineReader, lineReader, type Luma } from './read-line.ts';
import { type MarkReader, markReader } from './read-mark.ts';
import { textWindows } from './window.ts';
import { lumaOf, planesIn, type Stack, samplesIn, stackBytes, type WindowPlane } from './windows-in.ts';
import { wordsOf } from './words.ts';

export interface FileTextRequest {
  readonly burntIn: readonly BurntIn[];
  readonly picture: { readonly width: number; readonly height: number };
  /** As the file is decoded. */
  readonly layout: PixelLayout;
  readonly font: Font;
  /** Of the file, by its standard. */
  readonly codec: string;
}

export interface FileTextFault {
  readonly frame: number;
  readonly item: number;
  readonly found: string;
  readonly expected: string;
}

export interface FileTextVerdict {
  readonly frames: number;
  /** Characters that were held against their pictures. */
  readonly characters: number;
  /** Of the line that is least like its words: 1, the words and nothing else; 0, anything. null: watermarks alone. */
  readonly least: number | null;
  /** Luma that letters have, the least and the most of any frame, codes of 8 bits, and what is stated; null: all of them are too small to say it. */
  readonly level: { readonly least: number; readonly most: number; readonly stated: number } | null;
  /** Of watermarks; null: there is none. */
  readonly marks: MarksSeen | null;
  /** The first of them, and the first of every text. */
  readonly faults: readonly FileTextFault[];
  /** How many there are in all: texts of frames. */
  readonly faulty: number;
}

export interface MarksSeen {
  /** The least height of any letters that were seen, in parts of what is stated. */
  readonly least: number;
  /** Places of frames: with letters, and with a picture that would hide them. */
  readonly seen: number;
  readonly untold: number;
}

/** A line less like the picture of its words does not show them: docs/mechanisms/burn-in.md. */
export const LEAST_LIKENESS = 0.45;
const DESCRIBED = 12;
/** Small letters in a coarse codec say next to nothing in one frame: so many frames in a row are taken together besides. */
const RUN = 24;
/** Fewer are as one. */
const MANY = 8;
/** The same of a watermark, whose letters are fainter. */
const MARK_RUN = 96;
/** Letters of a watermark that have less than this part of their height are not there. */
export const LEAST_HEIGHT = 0.25;
/** And more than this: of other letters than were stated. */
const MOST_HEIGHT = 1.5;
/** Standard error of a height below which that can be told. */
const TOLD = 0.06;
/** Letters may be brighter and darker by the mean of their inside, in parts of how high they are above black: docs/mechanisms/burn-in.md. */
export const LEVEL_OFF = { above: 0.0625, below: 0.095 } as const;
/** Pixels an em: smaller letters are darkened by what a codec blurs. */
const leastLevelled = (codec: string): number => (codec === 'h264' || codec === 'h265' ? 16 : 30);
/** Of limited range, codes of 8 bits. */
const BLACK = 16;

/** Which words a line shows when it is early, late, or stays as it was. */
const ALTERNATIVES = [(frame: number) => frame - 1, (frame: number) => frame + 1, () => 0];

/** What a run of frames says for each of the alternatives, all added up. */
class Run {
  readonly #sums = ALTERNATIVES.map(() => ({ gained: 0, apart: 0, variance: 0 }));
  frames = 0;
  first = 0;

  add(frame: number, evidence: readonly (Evidence | null)[]): void {
    if (this.frames === 0) this.first = frame;
    this.frames += 1;
    for (const [at, one] of evidence.entries()) {
      const sum = this.#sums[at];
      if (one === null || sum === undefined) continue;
      sum.gained += one.gained;
      sum.apart += one.apart;
      sum.variance += one.variance;
    }
  }

  /** The alternative that these frames show; -1: none. Begins a new run. */
  ended(): number {
    const found = this.#sums.findIndex(
      (sum) => sum.apart > 0 && isInstead(sum, this.frames < MANY ? 'one' : 'many'),
    );
    for (const sum of this.#sums) Object.assign(sum, { gained: 0, apart: 0, variance: 0 });
    this.frames = 0;
    return found;
  }
}

/** The mean of the pictures of a line whose words stay: what moves behind them is gone from it. */
class MeanLine {
  #sum: Float64Array | null = null;
  frames = 0;

  add({ values }: Luma): void {
    this.#sum ??= new Float64Array(values.length);
    for (let at = 0; at < values.length; at += 1)
      this.#sum[at] = (this.#sum[at] as number) + (values[at] as number);
    this.frames += 1;
  }

  /** Begins a new one. */
  ended({ width, height }: Rectangle): Luma {
    const { frames } = this;
    const values = (this.#sum ?? new Float64Array(width * height)).map(
      (value) => value / Math.max(1, frames),
    );
    this.#sum = null;
    this.frames = 0;
    return { width, height, values };
  }
}

interface Line {
  readonly kind: 'line';
  readonly burntIn: BurntIn;
  readonly window: Rectangle;
  readonly reader: LineReader;
  readonly run: Run;
  readonly mean: MeanLine;
}

interface Mark {
  readonly kind: 'mark';
  readonly burntIn: BurntIn;
  readonly window: Rectangle;
  readonly reader: MarkReader;
  frames: number;
}

type Item = Line | Mark;

export class FileTextReader {
  readonly #request: FileTextRequest;
  readonly #items: readonly Item[];
  readonly #stack: Stack;
  readonly #faults: FileTextFault[] = [];
  #faulty = 0;
  #frames = 0;
  #characters = 0;
  #least: number | null = null;
  #level: FileTextVerdict['level'] = null;
  #marks: MarksSeen | null = null;

  constructor(request: FileTextRequest) {
    this.#request = request;
    const { windows, stacked } = textWindows(request.burntIn, request.picture);
    this.#stack = { layout: request.layout, stacked, count: request.burntIn.length };
    this.#items = request.burntIn.map((burntIn, index) => {
      const window = windows[index] as Rectangle;
      const of = { burntIn, window };
      return isWatermark(burntIn)
        ? { kind: 'mark', ...of, reader: markReader(burntIn, window, request.font), frames: 0 }
        : {
            kind: 'line',
            ...of,
            reader: lineReader(burntIn, window, request.font),
            run: new Run(),
            mean: new MeanLine(),
          };
    });
  }

  /** Of each frame the windows, one below the other. */
  read(stream: Readable): Promise<void> {
    return readFrames(stream, stackBytes(this.#stack), (bytes) => this.#take(bytes));
  }

  /** The stream has ended. */
  verdict(): FileTextVerdict {
    for (const [index, item] of this.#items.entries()) this.#endRun(index, item);
    return {
      frames: this.#frames,
      characters: this.#characters,
      least: this.#least,
      level: this.#level,
      marks: this.#marks,
      faults: this.#faults,
      faulty: this.#faulty,
    };
  }

  #take(bytes: Buffer): void {
    const frame = this.#frames++;
    const samples = samplesIn(bytes, this.#stack);
    for (const [index, item] of this.#items.entries()) {
      const [luma] = planesIn(samples, this.#stack, index, item.window) as [WindowPlane];
      const picture = lumaOf(luma, this.#request.layout.bits);
      if (item.kind === 'mark') this.#mark(frame, index, item, picture);
      else this.#line(frame, index, item, picture);
    }
  }

  #line(frame: number, index: number, line: Line, picture: Luma): void {
    const { burntIn, reader, run, mean } = line;
    const words = wordsOf(burntIn.words, frame);
    const length = [...words].length;
    const alternatives =
      burntIn.words.kind === 'same' ? [] : ALTERNATIVES.map((other) => wordsOf(burntIn.words, other(frame)));
    const { likeness, others, evidence } = reader.fit(picture, words, alternatives);
    this.#characters += length;
    this.#least = Math.min(this.#least ?? 1, likeness);
    run.add(
      frame,
      evidence.map((one, at) => (alternatives[at] === words ? null : one)),
    );
    if (burntIn.words.kind === 'same') mean.add(picture);
    const instead = alternatives.find(
      (other, at) => other !== words && isInstead(evidence[at] as Evidence, 'one'),
    );
    if (likeness < LEAST_LIKENESS || others > 0 || instead !== undefined)
      this.#fault({
        frame,
        item: index,
        found: `${burntIn.text}: ${inWords(reader.read(picture, length), instead ?? null)}`,
        expected: `"${words}"`,
      });
    else this.#judgeLevel(frame, index, line, reader.level(picture, words));
    if (run.frames === RUN) this.#endRun(index, line);
  }

  /** Of a line that shows its words. */
  #judgeLevel(frame: number, index: number, { burntIn }: Line, level: number | null): void {
    if (level === null) return;
    const stated = burntIn.look.letters;
    this.#level = {
      least: Math.min(this.#level?.least ?? level, level),
      most: Math.max(this.#level?.most ?? level, level),
      stated,
    };
    const high = stated - BLACK;
    const isDark =
      burntIn.letters.size >= leastLevelled(this.#request.codec) && stated - level > LEVEL_OFF.below * high;
    if (isDark || level - stated > LEVEL_OFF.above * high)
      this.#fault({
        frame,
        item: index,
        found: `${burntIn.text}: letters of ${level.toFixed(1)}, codes of 8 bits`,
        expected: `letters of ${stated}`,
      });
  }

  #mark(frame: number, index: number, mark: Mark, picture: Luma): void {
    const { burntIn, reader } = mark;
    const { height, error } = reader.fit(picture);
    this.#characters += [...wordsOf(burntIn.words, frame)].length;
    mark.frames += 1;
    const marks = this.#marks ?? { least: 1, seen: 0, untold: 0 };
    const isSeen = height >= LEAST_HEIGHT;
    const isUntold = !isSeen && error > TOLD;
    this.#marks = {
      least: isSeen ? Math.min(marks.least, height) : marks.least,
      seen: marks.seen + (isSeen ? 1 : 0),
      untold: marks.untold + (isUntold ? 1 : 0),
    };
    const isStrong = height - 4 * error > MOST_HEIGHT;
    if ((!isSeen && !isUntold) || isStrong)
      this.#fault({
        frame,
        item: index,
        found: `${burntIn.text}: ${isSeen ? `letters of ${height.toFixed(2)} of their height` : 'not there'} at ${burntIn.box.left}, ${burntIn.box.top}`,
        expected: `"${wordsOf(burntIn.words, frame)}"`,
      });
    if (mark.frames === MARK_RUN) this.#endRun(index, mark);
  }

  #endRun(index: number, item: Item): void {
    if (item.kind === 'mark') this.#endMark(index, item);
    else this.#endLine(index, item);
  }

  #endMark(index: number, mark: Mark): void {
    const { shown } = mark.reader.words();
    const { frames } = mark;
    mark.frames = 0;
    if (shown === null) return;
    this.#fault({
      frame: this.#frames - frames,
      item: index,
      found: `watermark: over ${frames} frames, rather "${shown}"`,
      expected: `"${wordsOf(mark.burntIn.words, 0)}"`,
    });
  }

  #endLine(index: number, { burntIn, window, reader, run, mean }: Line): void {
    const { first, frames } = run;
    const shown = run.ended();
    if (mean.frames > 1) {
      const words = wordsOf(burntIn.words, 0);
      const picture = mean.ended(window);
      const { likeness, others } = reader.fit(picture, words, []);
      if (likeness < LEAST_LIKENESS || others > 0)
        this.#fault({
          frame: first,
          item: index,
          found: `${burntIn.text}: over ${frames} frames, ${inWords(reader.read(picture, [...words].length), null)}`,
          expected: `"${words}"`,
        });
    }
    const other = ALTERNATIVES[shown];
    if (other === undefined) return;
    const words = (frame: number): string => wordsOf(burntIn.words, frame);
    this.#fault({
      frame: first,
      item: index,
      found: `${burntIn.text}: over ${frames} frames, rather "${words(other(first))}" and on`,
      expected: `"${words(first)}"`,
    });
  }

  #fault(fault: FileTextFault): void {
    this.#faulty += 1;
    const isFirst = !this.#faults.some(({ item }) => item === fault.item);
    if (isFirst || this.#faults.length < DESCRIBED) this.#faults.push(fault);
  }
}

const inWords = (read: string | null, instead: string | null): string =>
  read === null
    ? 'no text'
    : `"${read}"${instead === null || instead === read ? '' : `, rather "${instead}"`}`;
