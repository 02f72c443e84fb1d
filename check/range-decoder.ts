/** The range coder in which FFV1 writes its headers: RFC 9043, 3.8.1 (range coding of binary and of other values). */

/** RFC 9043, 3.8.1.4: default_state_transition. */
const defaultTransition: readonly number[] = [
  [0, 0, 0, 0, 0, 0, 0, 0, 20, 21, 22, 23, 24, 25, 26, 27],
  [28, 29, 30, 31, 32, 33, 34, 35, 36, 37, 37, 38, 39, 40, 41, 42],
  [43, 44, 45, 46, 47, 48, 49, 50, 51, 52, 53, 54, 55, 56, 56, 57],
  [58, 59, 60, 61, 62, 63, 64, 65, 66, 67, 68, 69, 70, 71, 72, 73],
  [74, 75, 75, 76, 77, 78, 79, 80, 81, 82, 83, 84, 85, 86, 87, 88],
  [89, 90, 91, 92, 93, 94, 94, 95, 96, 97, 98, 99, 100, 101, 102, 103],
  [104, 105, 106, 107, 108, 109, 110, 111, 112, 113, 114, 114, 115, 116, 117, 118],
  [119, 120, 121, 122, 123, 124, 125, 126, 127, 128, 129, 130, 131, 132, 133, 133],
  [134, 135, 136, 137, 138, 139, 140, 141, 142, 143, 144, 145, 146, 147, 148, 149],
  [150, 151, 152, 152, 153, 154, 155, 156, 157, 158, 159, 160, 161, 162, 163, 164],
  [165, 166, 167, 168, 169, 170, 171, 171, 172, 173, 174, 175, 176, 177, 178, 179],
  [180, 181, 182, 183, 184, 185, 186, 187, 188, 189, 190, 190, 191, 192, 194, 194],
  [195, 196, 197, 198, 199, 200, 201, 202, 202, 204, 205, 206, 207, 208, 209, 209],
  [210, 211, 212, 213, 215, 215, 216, 217, 218, 219, 220, 220, 222, 223, 224, 225],
  [226, 227, 227, 229, 229, 230, 231, 232, 234, 234, 235, 236, 237, 238, 239, 240],
  [241, 242, 243, 244, 245, 246, 247, 248, 248, 0, 0, 0, 0, 0, 0, 0],
].flat();

/** States of one context: as many as a number needs (RFC 9043, 3.8.1.2). */
export type Context = Uint8Array;
export const newContext = (): Context => new Uint8Array(32).fill(128);

/** Beyond the end of its bytes it reads zeros, as the coder's last symbols need; `overrun` says how many. */
export class RangeDecoder {
  readonly #bytes: Buffer;
  #at = 2;
  #low: number;
  #range = 0xff00;
  #one: readonly number[] = defaultTransition;

  constructor(bytes: Buffer) {
    this.#bytes = bytes;
    this.#low = Math.min((this.#byte(0) << 8) | this.#byte(1), 0xff00);
  }

  #byte(at: number): number {
    return this.#bytes[at] ?? 0;
  }

  get overrun(): number {
    return Math.max(0, this.#at - this.#bytes.length);
  }

  /** From here on the table of coder type 2: differences to the default, by state from 0 on. */
  useTransition(deltas: readonly number[]): void {
    this.#one = defaultTransition.map((state, index) => (state + (deltas[index] ?? 0)) & 0xff);
  }

  bit(context: Context, index = 0): boolean {
    const state = context[index] as number;
    const share = (this.#range * state) >> 8;
    this.#range -= share;
    const one = this.#low >= this.#range;
    if (one) {
      this.#low -= this.#range;
      this.#range = share;
      context[index] = this.#one[state] as number;
    } else {
      context[index] = 256 - (this.#one[256 - state] as number);
    }
    if (this.#range < 0x100) {
      this.#range <<= 8;
      this.#low = (this.#low << 8) | this.#byte(this.#at);
      this.#at += 1;
    }
    return one;
  }

  /** An exponential Golomb number, each of its bits with a state of its own. Throws RangeError for one of more than 31 bits. */
  number(context: Context, signed = false): number {
    if (this.bit(context, 0)) return 0;
    let exponent = 0;
    while (this.bit(context, 1 + Math.min(exponent, 9))) {
      exponent += 1;
      if (exponent > 30) throw new RangeError('a number of more than 31 bits');
    }
    let value = 1;
    for (let place = exponent - 1; place >= 0; place -= 1)
      value = value * 2 + (this.bit(context, 22 + Math.min(place, 9)) ? 1 : 0);
    return signed && this.bit(context, 11 + Math.min(exponent, 10)) ? -value : value;
  }
}
