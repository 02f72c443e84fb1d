/** What units of H.264 and H.265 are written in: bits, numbers of as many as they need, and bytes that keep start codes out. */
import { MovieError } from './boxes.ts';

/** ITU-T H.264 and H.265, 7.2 and 9: bits from the highest on. */
export class Bits {
  readonly #bytes: Buffer;
  #at = 0;
  constructor(bytes: Buffer) {
    this.#bytes = bytes;
  }
  bits(count: number): number {
    let value = 0;
    for (let index = 0; index < count; index += 1) {
      const byte = this.#bytes[this.#at >> 3];
      if (byte === undefined) throw new MovieError('a unit ends too early');
      value = value * 2 + ((byte >> (7 - (this.#at & 7))) & 1);
      this.#at += 1;
    }
    return value;
  }
  flag(): boolean {
    return this.bits(1) === 1;
  }
  unsigned(): number {
    let zeros = 0;
    while (!this.flag()) {
      zeros += 1;
      if (zeros > 32) throw new MovieError('a number of more than 32 bits in a unit');
    }
    return 2 ** zeros - 1 + this.bits(zeros);
  }
  signed(): number {
    const value = this.unsigned();
    return value % 2 === 0 ? -value / 2 : (value + 1) / 2;
  }
}

/** 7.3.1: a 3 behind two zero bytes is no part of the content. */
export function unescaped(bytes: Buffer): Buffer {
  return Buffer.from(
    bytes.filter((byte, at) => !(byte === 3 && at >= 2 && bytes[at - 1] === 0 && bytes[at - 2] === 0)),
  );
}

/** H.264, Table E-1; H.265, Table E.1. */
export const aspects: readonly (readonly [number, number])[] = [
  [0, 0],
  [1, 1],
  [12, 11],
  [10, 11],
  [16, 11],
  [40, 33],
  [24, 11],
  [20, 11],
  [32, 11],
  [80, 33],
  [18, 11],
  [15, 11],
  [64, 33],
  [160, 99],
  [4, 3],
  [3, 2],
  [2, 1],
];
export const EXTENDED_ASPECT = 255;
