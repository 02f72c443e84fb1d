/**
 * Light of pictures in BT.2100 PQ, by code and numbers of the checker's own: Y'CbCr of 10 bits, limited range, 4:2:0, as they lie in a raw stream. What is
 * read is defined by CTA-861.3, annex P: of each pixel the greatest of R, G and B in cd/m²; of a clip the greatest of those, and the greatest mean of a frame.
 * The chroma sample of each square of four pixels counts for all four.
 */

/** SMPTE ST 2084, 5.1. */
const M1 = 2610 / 4096 / 4;
const M2 = (2523 / 4096) * 128;
const C1 = 3424 / 4096;
const C2 = (2413 / 4096) * 32;
const C3 = (2392 / 4096) * 32;
const PEAK = 10_000;

/** ST 2084, 5.1: cd/m² of a signal between 0 and 1. */
function nitsOf(signal: number): number {
  const root = signal ** (1 / M2);
  return PEAK * (Math.max(root - C1, 0) / (C2 - C3 * root)) ** (1 / M1);
}

/** ITU-R BT.2100, Table 9, 10 bits, narrow range: black 64, white 940, chroma 512 ± 448. */
const BLACK = 64;
const WHITE = 940;
const NEUTRAL = 512;
const SWING = 896;
const CODES = 1024;
/** Steps of one code of luma. */
const FINE = 16;
const TOP = (WHITE - BLACK) * FINE;

/** BT.2100, Table 6: Y' = 0.2627 R' + 0.6780 G' + 0.0593 B', Cb' = (B' - Y') / 1.8814, Cr' = (R' - Y') / 1.4746; what each colour has above Y', in steps, by its code. */
const steps = (gain: number): Int32Array =>
  Int32Array.from({ length: CODES }, (_, code) =>
    Math.round(((code - NEUTRAL) / SWING) * gain * (WHITE - BLACK) * FINE),
  );
const redAbove = steps(1.4746);
const blueAbove = steps(1.8814);
const greenOfRed = steps((-0.2627 * 1.4746) / 0.678);
const greenOfBlue = steps((-0.0593 * 1.8814) / 0.678);
const lumaSteps = Int32Array.from({ length: CODES }, (_, code) => (code - BLACK) * FINE);
const nitsBySteps = Float64Array.from({ length: TOP + 1 }, (_, step) => nitsOf(step / TOP));

/** Side of the cells whose means are taken, pixels. */
const CELL = 8;

export interface LightRead {
  readonly frames: number;
  /** No part of a frame is left over. */
  readonly whole: boolean;
  /** cd/m². */
  readonly greatest: number;
  /** cd/m²: the greatest mean of a frame. */
  readonly average: number;
  /** Frame of that mean, and of the greatest pixel. */
  readonly brightest: readonly [pixel: number, frame: number];
  /** The greatest mean of the greatest signal (R', G' or B') in a whole cell of 8 by 8 pixels, codes of luma above black; 0 where a picture has no such cell. */
  readonly cell: number;
}

/** Part of a light that one code of luma more is, at that light: 0.011 at 100 cd/m². At least 0.001 cd/m² are taken. */
export function partOfCode(nits: number): number {
  const code = codesOf(Math.max(nits, 0.001)) / (WHITE - BLACK);
  const step = 0.5 / (WHITE - BLACK);
  return Math.log(nitsOf(Math.min(code + step, 1)) / nitsOf(Math.min(code + step, 1) - 2 * step));
}

/** Codes of luma above black that a light has. */
export function codesOf(nits: number): number {
  const power = (Math.min(Math.max(nits, 0), PEAK) / PEAK) ** M1;
  return (WHITE - BLACK) * ((C1 + C2 * power) / (1 + C3 * power)) ** M2;
}

export class LightReader {
  readonly #width: number;
  readonly #height: number;
  readonly #bytes: Uint8Array;
  readonly #samples: Uint16Array;
  readonly #cells: Int32Array;
  #have = 0;
  #frames = 0;
  #greatest = -1;
  #average = 0;
  #cell = 0;
  #brightest: [pixel: number, frame: number] = [0, 0];

  /** Pixels; both even, or RangeError. */
  constructor({ width, height }: { readonly width: number; readonly height: number }) {
    if (width % 2 !== 0 || height % 2 !== 0) throw new RangeError(`light of ${width}x${height} pixels`);
    this.#width = width;
    this.#height = height;
    this.#samples = new Uint16Array((width * height * 3) / 2);
    this.#bytes = new Uint8Array(this.#samples.buffer);
    this.#cells = new Int32Array(width >> 3);
  }

  /** The next bytes of the stream, however they are cut. */
  take(chunk: Uint8Array): void {
    for (let at = 0; at < chunk.length; ) {
      const count = Math.min(chunk.length - at, this.#bytes.length - this.#have);
      this.#bytes.set(chunk.subarray(at, at + count), this.#have);
      at += count;
      this.#have += count;
      if (this.#have < this.#bytes.length) return;
      this.#have = 0;
      this.#frame();
    }
  }

  #frame(): void {
    const width = this.#width;
    const codes = this.#samples;
    const pixels = width * this.#height;
    const cells = this.#cells;
    const half = width >> 1;
    let blue = pixels;
    let red = pixels + (pixels >> 2);
    let most = 0;
    let sum = 0;
    for (let y = 0; y < this.#height; y += 2) {
      let upper = y * width;
      let lower = upper + width;
      for (let x = 0; x < half; x += 1) {
        const cb = (codes[blue + x] as number) & 1023;
        const cr = (codes[red + x] as number) & 1023;
        let above = (greenOfRed[cr] as number) + (greenOfBlue[cb] as number);
        const r = redAbove[cr] as number;
        const b = blueAbove[cb] as number;
        if (r > above) above = r;
        if (b > above) above = b;
        let p = above + (lumaSteps[(codes[upper] as number) & 1023] as number);
        let q = above + (lumaSteps[(codes[upper + 1] as number) & 1023] as number);
        let s = above + (lumaSteps[(codes[lower] as number) & 1023] as number);
        let t = above + (lumaSteps[(codes[lower + 1] as number) & 1023] as number);
        p = p < 0 ? 0 : p > TOP ? TOP : p;
        q = q < 0 ? 0 : q > TOP ? TOP : q;
        s = s < 0 ? 0 : s > TOP ? TOP : s;
        t = t < 0 ? 0 : t > TOP ? TOP : t;
        if (p > most) most = p;
        if (q > most) most = q;
        if (s > most) most = s;
        if (t > most) most = t;
        sum +=
          (nitsBySteps[p] as number) +
          (nitsBySteps[q] as number) +
          (nitsBySteps[s] as number) +
          (nitsBySteps[t] as number);
        const cell = x >> 2;
        if (cell < cells.length) cells[cell] = (cells[cell] as number) + p + q + s + t;
        upper += 2;
        lower += 2;
      }
      blue += half;
      red += half;
      if (y % CELL === CELL - 2) this.#endCells();
    }
    cells.fill(0);
    const mean = sum / pixels;
    if (most > this.#greatest) [this.#greatest, this.#brightest[0]] = [most, this.#frames];
    if (mean > this.#average) [this.#average, this.#brightest[1]] = [mean, this.#frames];
    this.#frames += 1;
  }

  #endCells(): void {
    for (const sum of this.#cells) {
      const mean = sum / (CELL * CELL * FINE);
      if (mean > this.#cell) this.#cell = mean;
    }
    this.#cells.fill(0);
  }

  /** The stream has ended. */
  read(): LightRead {
    return {
      frames: this.#frames,
      whole: this.#have === 0,
      greatest: this.#greatest < 0 ? 0 : (nitsBySteps[this.#greatest] as number),
      average: this.#average,
      brightest: [...this.#brightest],
      cell: this.#cell,
    };
  }
}
