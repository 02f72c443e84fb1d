/** Whether letters can be told from their ground. */

import { encodings } from '../../media/colour/output/displays.ts';
import { REFERENCE_WHITE } from '../../media/colour/output/placed-sdr.ts';

/** W3C WCAG 2.2, success criterion 1.4.3: text against what it lies on. */
export const LEAST_CONTRAST = 4.5;
/** The same, "relative luminance": flare of the screen. */
const FLARE = 0.05;
/** What a screen makes of a signal, in parts of the white of a page. By the transfer that is tagged: BT.2100 PQ and HLG, whose white has 203 cd/m² (ITU-R BT.2408), and BT.1886 for all others. */
const screens: ReadonlyMap<string | null, (signal: number) => number> = new Map(
  (
    [
      ['pq', 'pq-bt2020'],
      ['hlg', 'hlg-bt2020'],
    ] as const
  ).map(([transfer, display]) => [
    transfer,
    (signal: number) => encodings[display].luminance(signal) / REFERENCE_WHITE,
  ]),
);
const EXPONENT = 2.4;

function onScreen(code: number, transfer: string | null): number {
  const signal = Math.min(1, Math.max(0, (code - 16) / 219));
  return screens.get(transfer)?.(signal) ?? signal ** EXPONENT;
}

/** cd/m² of a neutral Y' in codes of 8 bits, limited range, by the transfer that is tagged; null: it does not say. */
export function luminanceOf(code: number, transfer: string | null): number | null {
  const screen = screens.get(transfer);
  return screen === undefined ? null : REFERENCE_WHITE * screen(Math.min(1, Math.max(0, (code - 16) / 219)));
}

/** 1 to 21 in standard range, of two Y' in codes of 8 bits, limited range. `transfer`: as tagged. */
export function contrastRatio(one: number, other: number, transfer: string | null): number {
  const [a, b] = [onScreen(one, transfer), onScreen(other, transfer)];
  return (Math.max(a, b) + FLARE) / (Math.min(a, b) + FLARE);
}

/** Codes of letters and of their ground, by least squares of samples on how much of each is covered. */
export class LettersAndGround {
  #count = 0;
  #covered = 0;
  #squares = 0;
  #values = 0;
  #products = 0;

  add(value: number, covered: number): void {
    this.#count += 1;
    this.#covered += covered;
    this.#squares += covered * covered;
    this.#values += value;
    this.#products += covered * value;
  }

  /** null: nothing is to be drawn. */
  codes(): { readonly letters: number; readonly ground: number } | null {
    const mean = this.#covered / this.#count;
    const spread = this.#squares - mean * this.#covered;
    if (this.#count === 0 || spread < 1e-9) return null;
    const slope = (this.#products - mean * this.#values) / spread;
    const ground = this.#values / this.#count - slope * mean;
    return { letters: ground + slope, ground };
  }
}
