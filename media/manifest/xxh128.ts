/** XXH128 (seed 0) of a stream. Source: doc/xxhash_spec.md of the xxHash project. */
import { xxh3 } from '@node-rs/xxhash';
import { ACCUMULATOR_OFFSET, createKernel, INPUT_BYTES, INPUT_OFFSET, type Kernel, SECRET_BYTES } from './xxh3-kernel.ts';

const SECRET = Buffer.from(
  'b8fe6c3923a44bbe7c01812cf721ad1cded46de9839097db7240a4a4b7b3671fcb79e64eccc0e578825ad07dccff7221b8084674f743248ee03590e6813a264c' +
    '3c2852bb91c300cb88d0658b1b532ea371644897a20df94e3819ef46a9deacd8a8fa763fe39c343ff9dcbbc7c70b4f1d8a51e04bcdb45931c89f7ec9d9787364' +
    'eac5ac8334d3ebc3c581a0fffa1363eb170ddd51b7f0da49d316552629d4689e2b16be587d47a1fc8ff8b8d17ad031ce45cb3a8f95160428afd7fbcabb4b407e',
  'hex',
);
const PRIME64_1 = 0x9e3779b185ebca87n;
const PRIME64_2 = 0xc2b2ae3d27d4eb4fn;
/** PRIME32_3, PRIME64_1, PRIME64_2, PRIME64_3, PRIME64_4, PRIME32_2, PRIME64_5, PRIME32_1 */
const START = [0xc2b2ae3dn, PRIME64_1, PRIME64_2, 0x165667b19e3779f9n, 0x85ebca77c2b2ae63n, 0x85ebca77n, 0x27d4eb2f165667c5n, 0x9e3779b1n];
const PRIME_MX1 = 0x165667919e3779f9n;
const BLOCK = 1024;
const STRIPE = 64;
/** The last stripe may reach back into bytes that have been taken in already. */
const DATA_OFFSET = INPUT_OFFSET + STRIPE;

const wrap = (value: bigint): bigint => BigInt.asUintN(64, value);

export class Xxh128 {
  readonly #kernel: Kernel;
  readonly #memory: Buffer;
  /** Bytes at DATA_OFFSET that wait: a block is taken in only when more is known to follow. */
  #pending = 0;
  #total = 0n;

  constructor() {
    this.#kernel = createKernel();
    this.#memory = Buffer.from(this.#kernel.memory.buffer);
    SECRET.copy(this.#memory, 0);
    this.reset();
  }

  reset(): void {
    for (const [lane, value] of START.entries()) this.#memory.writeBigUInt64LE(value, ACCUMULATOR_OFFSET + 8 * lane);
    this.#pending = 0;
    this.#total = 0n;
  }

  update(bytes: Uint8Array): this {
    this.#total += BigInt(bytes.length);
    const room = INPUT_BYTES - STRIPE;
    let taken = 0;
    while (taken < bytes.length) {
      const part = bytes.subarray(taken, taken + room - this.#pending);
      this.#memory.set(part, DATA_OFFSET + this.#pending);
      this.#pending += part.length;
      taken += part.length;
      const blocks = Math.floor((this.#pending - 1) / BLOCK);
      if (blocks === 0) continue;
      this.#kernel.blocks(DATA_OFFSET, blocks);
      const done = blocks * BLOCK;
      this.#memory.copyWithin(INPUT_OFFSET, DATA_OFFSET + done - STRIPE, DATA_OFFSET + this.#pending);
      this.#pending -= done;
    }
    return this;
  }

  /** 32 lower-case hex digits in canonical (big-endian) order. Ends the stream: call reset() before using it again. */
  digest(): string {
    if (this.#total <= BLOCK) {
      const whole = this.#memory.subarray(DATA_OFFSET, DATA_OFFSET + this.#pending);
      return xxh3.xxh128(whole).toString(16).padStart(32, '0');
    }
    const stripes = Math.floor((this.#pending - 1) / STRIPE);
    if (stripes > 0) this.#kernel.stripes(DATA_OFFSET, 0, stripes);
    this.#kernel.stripes(DATA_OFFSET + this.#pending - STRIPE, SECRET_BYTES - STRIPE - 7, 1);
    const low = this.#merge(11, this.#total * PRIME64_1);
    const high = this.#merge(SECRET_BYTES - STRIPE - 11, ~(this.#total * PRIME64_2));
    return high.toString(16).padStart(16, '0') + low.toString(16).padStart(16, '0');
  }

  #merge(secretOffset: number, start: bigint): bigint {
    let result = start;
    for (let pair = 0; pair < 4; pair++) {
      const word = (half: number): bigint =>
        this.#memory.readBigUInt64LE(ACCUMULATOR_OFFSET + 16 * pair + 8 * half) ^ SECRET.readBigUInt64LE(secretOffset + 16 * pair + 8 * half);
      const product = word(0) * word(1);
      result += wrap(product) ^ (product >> 64n);
    }
    result = wrap(result);
    result ^= result >> 37n;
    result = wrap(result * PRIME_MX1);
    return result ^ (result >> 32n);
  }
}
