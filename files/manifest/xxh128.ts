/**
 * XXH128 (seed 0) of a stream, computed by hash-wasm: the native library has it for whole buffers only, and takes nearly three times as long. There is one
 * instance of the WebAssembly module in each thread, made when this file is loaded, because making one is asynchronous;
 * streams take turns in it by leaving and bringing their state (580 bytes).
 */
import alone from 'hash-wasm/dist/xxhash128.umd.min.js';

const engine = await alone.createXXHash128();
/** Whose state is in the engine. */
let owner: Xxh128 | null = null;

export class Xxh128 {
  /** null: nothing taken in yet, or this stream is in the engine. */
  #state: Uint8Array | null = null;

  update(bytes: Uint8Array): this {
    this.#enter();
    engine.update(bytes);
    return this;
  }

  /** 32 lower-case hex digits in canonical (big-endian) order. Ends the stream; what follows begins another one. */
  digest(): string {
    this.#enter();
    owner = null;
    return engine.digest('hex');
  }

  #enter(): void {
    if (owner === this) return;
    if (owner !== null) owner.#state = engine.save();
    if (this.#state === null) engine.init();
    else engine.load(this.#state);
    this.#state = null;
    owner = this;
  }
}
