/**
 * The kernels of this thread: WebAssembly modules (media/kernels/assembly) over one memory, in which frames are laid out
 * one behind the other. Kernels get addresses and sizes and nothing else; each thread has its own memory and modules.
 */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { packageFolder } from '../../files/installation.ts';

const PAGE = 64 * 1024;
/** Below lie the constants of the modules (setup/kernels.mjs gives each its region). */
const FIRST_FREE = 8 * 1024 * 1024;
/** What a 32-bit address reaches. */
const MOST = 4 * 1024 * 1024 * 1024 - PAGE;
/** Of one cache line, and a multiple of every vector. */
const ALIGNMENT = 64;

/** Frames of one thread. Views of the memory go stale when it grows: take them again after every `allocate`. */
export class KernelMemory {
  readonly memory = new WebAssembly.Memory({ initial: FIRST_FREE / PAGE, maximum: MOST / PAGE });
  #free = FIRST_FREE;

  /** Address of so many bytes, a multiple of 64. Throws RangeError beyond 4 GiB in all. */
  allocate(bytes: number): number {
    const at = this.#free;
    const end = at + Math.ceil(bytes / ALIGNMENT) * ALIGNMENT;
    if (!Number.isSafeInteger(end) || end > MOST)
      throw new RangeError(`${bytes} bytes more than the ${MOST - at} that are left of a thread's memory`);
    const missing = end - this.memory.buffer.byteLength;
    if (missing > 0) this.memory.grow(Math.ceil(missing / PAGE));
    this.#free = end;
    return at;
  }

  /** What `reset` goes back to. */
  get mark(): number {
    return this.#free;
  }

  /** Gives back everything allocated since `mark` was read; without it, everything. */
  reset(mark = FIRST_FREE): void {
    this.#free = mark;
  }

  bytes(at: number, count: number): Uint8Array {
    return new Uint8Array(this.memory.buffer, at, count);
  }
  u16(at: number, count: number): Uint16Array {
    return new Uint16Array(this.memory.buffer, at, count);
  }
  i32(at: number, count: number): Int32Array {
    return new Int32Array(this.memory.buffer, at, count);
  }
  f64(at: number, count: number): Float64Array {
    return new Float64Array(this.memory.buffer, at, count);
  }
  f32(at: number, count: number): Float32Array {
    return new Float32Array(this.memory.buffer, at, count);
  }
}

/** Every kernel: a source in media/kernels/assembly of this name, compiled at set-up into dist/kernels. */
export const kernelNames = [
  'cfa',
  'dng',
  'dpx',
  'dwa',
  'exr',
  'piz',
  'video',
  'warp',
  'whole-frames',
] as const;
export type KernelName = (typeof kernelNames)[number];

const compiled = new Map<KernelName, Promise<WebAssembly.Module>>();

/** Throws when the module is not there, or is none. */
export async function loadKernel(name: KernelName): Promise<WebAssembly.Module> {
  return await WebAssembly.compile(await readFile(join(packageFolder, 'dist', 'kernels', `${name}.wasm`)));
}

/** The exports of the module `name`, over that memory. The caller says what they are: kernels are typed by their one wrapper. */
export async function kernels<Exports>(name: KernelName, memory: KernelMemory): Promise<Exports> {
  let module = compiled.get(name);
  if (module === undefined) {
    module = loadKernel(name);
    compiled.set(name, module);
  }
  const instance = await WebAssembly.instantiate(await module, { env: { memory: memory.memory } });
  return instance.exports as Exports;
}
