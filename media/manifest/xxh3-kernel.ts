/**
 * The inner loop of XXH3 for long inputs, as a WebAssembly module put together here instruction by instruction.
 * Needed because the native library computes XXH128 of whole buffers only, and a clip does not fit into one.
 * Source: doc/xxhash_spec.md of the xxHash project, "XXH3 Algorithm Description (for large inputs)".
 *
 * Memory, bytes: 0 secret (192) · 192 the eight accumulators (64) · from INPUT_OFFSET the input.
 */

/** This build has no DOM types; these are the parts of the WebAssembly interface that are used. */
interface WasmMemory {
  readonly buffer: ArrayBuffer;
}
interface WasmRuntime {
  readonly Module: new (bytes: Uint8Array) => object;
  readonly Instance: new (module: object) => { readonly exports: unknown };
}

export interface Kernel {
  readonly memory: WasmMemory;
  /** Takes in `count` stripes of 64 bytes from `input`; the secret moves on by 8 bytes a stripe. */
  readonly stripes: (input: number, secret: number, count: number) => void;
  /** Takes in `count` whole blocks of 1024 bytes, each followed by the scrambling step. */
  readonly blocks: (input: number, count: number) => void;
}

export const SECRET_BYTES = 192;
export const ACCUMULATOR_OFFSET = 192;
export const INPUT_OFFSET = 1024;
const PAGES = 5;
export const INPUT_BYTES = PAGES * 65_536 - INPUT_OFFSET;
const PRIME32_1 = 0x9e3779b1n;

type Code = readonly number[];

function unsigned(value: number): Code {
  const out: number[] = [];
  let rest = value;
  do {
    out.push((rest & 0x7f) | (rest > 0x7f ? 0x80 : 0));
    rest >>>= 7;
  } while (rest !== 0);
  return out;
}

function signed(value: bigint): Code {
  const out: number[] = [];
  let rest = value;
  for (;;) {
    const low = Number(rest & 0x7fn);
    rest >>= 7n;
    if ((rest === 0n && (low & 0x40) === 0) || (rest === -1n && (low & 0x40) !== 0)) return [...out, low];
    out.push(low | 0x80);
  }
}

// Instructions, by their names in the WebAssembly core specification (appendix "Index of Instructions").
const get = (local: number): Code => [0x20, ...unsigned(local)];
const set = (local: number): Code => [0x21, ...unsigned(local)];
const i32 = (value: number): Code => [0x41, ...signed(BigInt(value))];
const i64 = (value: bigint): Code => [0x42, ...signed(BigInt.asIntN(64, value))];
const ADD32: Code = [0x6a];
const SUB32: Code = [0x6b];
const vector = (opcode: number): Code => [0xfd, ...unsigned(opcode)];
/** Alignment exponent 3: a hint; any address is allowed. */
const load = (offset: number): Code => [...vector(0x00), 3, ...unsigned(offset)];
const store = (offset: number): Code => [...vector(0x0b), 3, ...unsigned(offset)];
const shuffle = (...words: readonly number[]): Code => [...vector(0x0d), ...words.flatMap((word) => [4 * word, 4 * word + 1, 4 * word + 2, 4 * word + 3])];
const SPLAT64 = vector(0x12);
const XOR = vector(0x51);
const SHIFT_RIGHT64 = vector(0xcd);
const ADD64 = vector(0xce);
const MULTIPLY64 = vector(0xd5);
const MULTIPLY_LOW_HALVES = vector(0xde);
const lanes = [0, 1, 2, 3] as const;

/** `body` runs once and again while the i32 local is not 0 after it. */
const repeatWhile = (local: number, body: Code): Code => [0x03, 0x40, ...body, ...get(local), 0x0d, 0, 0x0b];
const advance = (local: number, by: number): Code => [...get(local), ...i32(by), ...ADD32, ...set(local)];
const countDown = (local: number): Code => [...get(local), ...i32(1), ...SUB32, ...set(local)];

/** stripes(input 0, secret 1, count 2); locals 3..6 accumulator pairs, 7 data, 8 keyed data. */
function stripesBody(): Code {
  const one = lanes.flatMap((lane) => [
    ...get(0), ...load(16 * lane), ...set(7),
    ...get(7), ...get(1), ...load(16 * lane), ...XOR, ...set(8),
    // The neighbour's plain data, plus low half times high half of the keyed data.
    ...get(3 + lane),
    ...get(7), ...get(7), ...shuffle(2, 3, 0, 1), ...ADD64,
    ...get(8), ...get(8), ...shuffle(0, 2, 0, 2),
    ...get(8), ...get(8), ...shuffle(1, 3, 1, 3), ...MULTIPLY_LOW_HALVES, ...ADD64,
    ...set(3 + lane),
  ]);
  return [
    ...lanes.flatMap((lane) => [...i32(0), ...load(ACCUMULATOR_OFFSET + 16 * lane), ...set(3 + lane)]),
    ...repeatWhile(2, [...one, ...advance(0, 64), ...advance(1, 8), ...countDown(2)]),
    ...lanes.flatMap((lane) => [...i32(0), ...get(3 + lane), ...store(ACCUMULATOR_OFFSET + 16 * lane)]),
  ];
}

/** blocks(input 0, count 1); local 2 an accumulator pair. */
function blocksBody(): Code {
  const scramble = lanes.flatMap((lane) => [
    ...i32(0), ...load(ACCUMULATOR_OFFSET + 16 * lane), ...set(2),
    ...i32(0),
    ...get(2), ...get(2), ...i32(47), ...SHIFT_RIGHT64, ...XOR,
    ...i32(0), ...load(SECRET_BYTES - 64 + 16 * lane), ...XOR,
    ...i64(PRIME32_1), ...SPLAT64, ...MULTIPLY64,
    ...store(ACCUMULATOR_OFFSET + 16 * lane),
  ]);
  return repeatWhile(1, [...get(0), ...i32(0), ...i32(16), 0x10, 0, ...scramble, ...advance(0, 1024), ...countDown(1)]);
}

function moduleBytes(): Uint8Array {
  const sized = (code: Code): Code => [...unsigned(code.length), ...code];
  const section = (id: number, items: readonly Code[]): Code => [id, ...sized([...unsigned(items.length), ...items.flat()])];
  const name = (text: string): Code => sized([...Buffer.from(text)]);
  const I32 = 0x7f;
  const V128 = 0x7b;
  const body = (vectors: number, code: Code): Code => sized([1, ...unsigned(vectors), V128, ...code, 0x0b]);
  return Uint8Array.from([
    0x00, 0x61, 0x73, 0x6d, 1, 0, 0, 0,
    ...section(1, [[0x60, 3, I32, I32, I32, 0], [0x60, 2, I32, I32, 0]]),
    ...section(3, [[0], [1]]),
    ...section(5, [[0x01, PAGES, PAGES]]),
    ...section(7, [[...name('memory'), 2, 0], [...name('stripes'), 0, 0], [...name('blocks'), 0, 1]]),
    ...section(10, [body(6, stripesBody()), body(1, blocksBody())]),
  ]);
}

let compiled: object | undefined;

/** A kernel with a memory of its own (320 KiB). */
export function createKernel(): Kernel {
  const runtime = (globalThis as unknown as { WebAssembly: WasmRuntime }).WebAssembly;
  compiled ??= new runtime.Module(moduleBytes());
  return new runtime.Instance(compiled).exports as Kernel;
}
