/** Burnt-in text in a finished file, frame by frame while it is decoded: read by our own code, without the source and without what the encoder was given. */
import type { Readable } from 'node:stream';
import type { PixelLayout } from '../encoder-input/samples.ts';
import type { Rectangle } from '../framing.ts';
import { readFrames } from '../raw-frames.ts';
import type { Font } from './font.ts';
import type { BurntIn } from './form.ts';
import { type LineReader, lineReader } from './read-line.ts';
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

interface Item {
  readonly burntIn: BurntIn;
  readonly window: Rectangle;
  readonly reader: LineReader;
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
      return { burntIn, window, reader: lineReader(burntIn, window, request.font) };
    });
  }

  /** Of each frame the windows, one below the other. */
  read(stream: Readable): Promise<void> {
    return readFrames(stream, stackBytes(this.#stack), (bytes) => this.#take(bytes));
  }

  /** The stream has ended. */
  verdict(): FileTextVerdict {
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
    for (const [index, { burntIn, window, reader }] of this.#items.entries()) {
      const [luma] = planesIn(samples, this.#stack, index, window) as [WindowPlane];
      const picture = lumaOf(luma, this.#request.layout.bits);
      const words = wordsOf(burntIn.words, frame);
      const length = [...words].length;
      const { likeness, others, instead } = reader.fit(picture, words, this.#alternatives(burntIn, frame));
      this.#characters += length;
      this.#least = Math.min(this.#least, likeness);
      if (likeness >= LEAST_LIKENESS && others === 0 && instead === null) continue;
      this.#faulty += 1;
      if (this.#faults.length >= DESCRIBED) continue;
      this.#faults.push({
        frame,
        item: index,
        found: `${burntIn.text}: ${inWords(reader.read(picture, length), instead)}`,
        expected: `"${words}"`,
      });
    }
  }

  /** Words that a line shows when it is early, late, or stays as it was. */
  #alternatives({ words }: BurntIn, frame: number): string[] {
    if (words.kind === 'same') return [];
    const own = wordsOf(words, frame);
    return [frame - 1, frame + 1, 0].map((other) => wordsOf(words, other)).filter((other) => other !== own);
  }
}

const inWords = (read: string | null, instead: string | null): string =>
  read === null
    ? 'no text'
    : `"${read}"${instead === null || instead === read ? '' : `, rather "${instead}"`}`;
