/**
 * Measures the light of what an encoder is given: pictures of Y'CbCr of 10 bits, limited range, 4:2:0, in BT.2100 PQ with the matrix of BT.2020. R'G'B' are
 * made of the very codes, with the chroma sample of each square of four pixels for all of them, and each is taken to cd/m² by itself. The
 * greatest of three is that of the greatest signal, since PQ only rises.
 */
import { decode } from '../../media/colour/curves.ts';
import { weights } from '../levels.ts';
import { readFrames } from '../raw-frames.ts';
import { type ContentLight, contentLightOf } from './form.ts';

const BITS = 10;
/** H.273, clause 8.3: codes of 10 bits. */
const BLACK = 64;
const LUMA = 876;
const CHROMA = 896;
const MIDDLE = 512;
/** Parts of a code that colour adds to luma. */
const PARTS = 16;
/** Codes that colour adds or takes away at most: 1.8814 times half of the range and a little. */
const BEYOND = 1024;

const { red, blue } = weights.bt2020;
const ofCr = 2 * (1 - red);
const ofCb = 2 * (1 - blue);
const greenOfCr = (ofCr * red) / (1 - red - blue);
const greenOfCb = (ofCb * blue) / (1 - red - blue);

/** cd/m² by luma and what colour adds, in parts of a code from BEYOND below code 0. */
const lightBySignal = Float64Array.from({ length: (2 ** BITS + 2 * BEYOND) * PARTS }, (_, at) => {
  const signal = (at / PARTS - BEYOND - BLACK) / LUMA;
  return decode({ name: 'pq', nits_of_one: 1 }, Math.min(Math.max(signal, 0), 1));
});

/** What the greatest of R', G', B' is above Y', in parts of a code of luma. */
function above(cb: number, cr: number): number {
  const [b, r] = [(cb - MIDDLE) / CHROMA, (cr - MIDDLE) / CHROMA];
  const most = Math.max(ofCr * r, ofCb * b, -greenOfCr * r - greenOfCb * b);
  return Math.round(most * LUMA * PARTS);
}

export interface LightSeen {
  readonly frames: number;
  /** null: no frame came. */
  readonly light: ContentLight | null;
}

export class LightMeter {
  readonly #width: number;
  readonly #height: number;
  #frames = 0;
  #greatest = 0;
  #average = 0;

  /** Pixels; both even. */
  constructor({ width, height }: { readonly width: number; readonly height: number }) {
    if (width % 2 !== 0 || height % 2 !== 0) throw new RangeError(`light of ${width}x${height} pixels`);
    this.#width = width;
    this.#height = height;
  }

  /** Raw pictures, little-endian words. */
  read(stream: AsyncIterable<unknown>): Promise<void> {
    return readFrames(stream, this.#width * this.#height * 3, (bytes) => this.take(bytes));
  }

  take(picture: Buffer): void {
    const [width, height] = [this.#width, this.#height];
    const samples = new Uint16Array(picture.buffer, picture.byteOffset, (width * height * 3) / 2);
    const cb = width * height;
    const cr = cb + cb / 4;
    const half = width / 2;
    let most = 0;
    let sum = 0;
    for (let y = 0; y < height; y += 2)
      for (let x = 0; x < half; x += 1) {
        const chroma = (y / 2) * half + x;
        const from = BEYOND * PARTS + above(samples[cb + chroma] as number, samples[cr + chroma] as number);
        const upper = y * width + 2 * x;
        const lower = upper + width;
        const a = lightBySignal[from + PARTS * (samples[upper] as number)] as number;
        const b = lightBySignal[from + PARTS * (samples[upper + 1] as number)] as number;
        const c = lightBySignal[from + PARTS * (samples[lower] as number)] as number;
        const d = lightBySignal[from + PARTS * (samples[lower + 1] as number)] as number;
        most = Math.max(most, a, b, c, d);
        sum += a + b + c + d;
      }
    this.#frames += 1;
    this.#greatest = Math.max(this.#greatest, most);
    this.#average = Math.max(this.#average, sum / (width * height));
  }

  /** The stream has ended. */
  seen(): LightSeen {
    return {
      frames: this.#frames,
      light: this.#frames === 0 ? null : contentLightOf(this.#greatest, this.#average),
    };
  }
}
