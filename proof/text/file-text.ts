/** Burnt-in text in a finished file, frame by frame while it is decoded: read by our own code, without the source and without what the encoder was given. */
import type { Readable } from 'node:stream';
import type { PixelLayout } from '../encoder-input/samples.ts';
import type { Rectangle } from '../framing.ts';
import { readFrames } from '../raw-frames.ts';
import type { Font } from './font.ts';
import type { BurntIn } from './form.ts';
import { type Evidence, isInstead, type LineReader, lineReader } from './read-line.ts';
import { textWindows } from './window.ts';
import { lumaOf, planesIn, type Stack, samplesIn, stackBytes, type WindowPlane } from './windows-in.ts';
import { wordsOf } from './words.ts';

export interface FileTextRequest {
  readonly burntIn: readonly BurntIn[];
  readonly picture: { readonly width: number; readonly height: number };
  /** As the file is decoded. */
  readonly layout: PixelLayout;
  readonly font: Font;
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
  /** Of the line that is least like its words: 1, the words and nothing else; 0, anything. */
  readonly least: number;
  /** The first of them. */
  readonly faults: readonly FileTextFault[];
  /** How many there are in all: texts of frames. */
  readonly faulty: number;
}

/** A line less like the picture of its words does not show them: docs/mechanisms/burn-in.md. */
export const LEAST_LIKENESS = 0.45;
const DESCRIBED = 12;
/** Small letters in a coarse codec say next to nothing in one frame: so many frames in a row are taken together besides. */
const RUN = 24;
/** Fewer are as one. */
const MANY = 8;

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

interface Item {
  readonly burntIn: BurntIn;
  readonly window: Rectangle;
  readonly reader: LineReader;
  readonly run: Run;
}

export class FileTextReader {
  readonly #request: FileTextRequest;
  readonly #items: readonly Item[];
  readonly #stack: Stack;
  readonly #faults: FileTextFault[] = [];
  #faulty = 0;
  #frames = 0;
  #characters = 0;
  #least = 1;

  constructor(request: FileTextRequest) {
    this.#request = request;
    const { windows, stacked } = textWindows(request.burntIn, request.picture);
    this.#stack = { layout: request.layout, stacked, count: request.burntIn.length };
    this.#items = request.burntIn.map((burntIn, index) => {
      const window = windows[index] as Rectangle;
      return { burntIn, window, reader: lineReader(burntIn, window, request.font), run: new Run() };
    });
  }

  /** Of each frame the windows, one below the other. */
  read(stream: Readable): Promise<void> {
    return readFrames(stream, stackBytes(this.#stack), (bytes) => this.#take(bytes));
  }

  /** The stream has ended. */
  verdict(): FileTextVerdict {
    for (const [index] of this.#items.entries()) this.#endRun(index);
    return {
      frames: this.#frames,
      characters: this.#characters,
      least: this.#least,
      faults: this.#faults,
      faulty: this.#faulty,
    };
  }

  #take(bytes: Buffer): void {
    const frame = this.#frames++;
    const samples = samplesIn(bytes, this.#stack);
    for (const [index, { burntIn, window, reader, run }] of this.#items.entries()) {
      const [luma] = planesIn(samples, this.#stack, index, window) as [WindowPlane];
      const picture = lumaOf(luma, this.#request.layout.bits);
      const words = wordsOf(burntIn.words, frame);
      const length = [...words].length;
      const alternatives =
        burntIn.words.kind === 'same'
          ? []
          : ALTERNATIVES.map((other) => wordsOf(burntIn.words, other(frame)));
      const { likeness, others, evidence } = reader.fit(picture, words, alternatives);
      this.#characters += length;
      this.#least = Math.min(this.#least, likeness);
      run.add(
        frame,
        evidence.map((one, at) => (alternatives[at] === words ? null : one)),
      );
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
      if (run.frames === RUN) this.#endRun(index);
    }
  }

  #endRun(index: number): void {
    const { burntIn, run } = this.#items[index] as Item;
    const { first, frames } = run;
    const shown = run.ended();
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
    if (this.#faults.length < DESCRIBED) this.#faults.push(fault);
  }
}

const inWords = (read: string | null, instead: string | null): string =>
  read === null
    ? 'no text'
    : `"${read}"${instead === null || instead === read ? '' : `, rather "${instead}"`}`;
