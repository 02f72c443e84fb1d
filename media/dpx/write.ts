/** Writes a frame of DPX (SMPTE ST 268-1): 10-bit R, G, B, big-endian, filled to words by method A, in a thread's memory. */
import { type KernelMemory, kernels } from '../kernels/memory.ts';
import { DPX_HEADER, type DpxForm, type DpxFrame, dpxBytes, dpxHeader } from './header.ts';

interface DpxKernel {
  pack10(r: number, g: number, b: number, count: number, to: number): void;
}

/** Addresses of u16 planes of `count` codes from 0 to 1023. */
export interface Codes10 {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly count: number;
}

export class DpxEncoder {
  readonly #memory: KernelMemory;
  readonly #kernel: DpxKernel;
  #prepared: { readonly form: DpxForm; readonly file: number } | null = null;

  private constructor(memory: KernelMemory, kernel: DpxKernel) {
    this.#memory = memory;
    this.#kernel = kernel;
  }

  static async create(memory: KernelMemory): Promise<DpxEncoder> {
    return new DpxEncoder(memory, await kernels<DpxKernel>('dpx', memory));
  }

  /** Takes room in the memory for frames of this form, once for all of them: a reset of the memory takes it back. */
  prepare(form: DpxForm): void {
    const { width, height } = form;
    if (![width, height].every((side) => Number.isSafeInteger(side) && side > 0 && side < 65_536)) throw new RangeError(`a picture of ${width}x${height}`);
    this.#prepared = { form, file: this.#memory.allocate(dpxBytes(form)) };
  }

  /** The whole file: a view of the thread's memory that stands until the next frame, or until the memory grows. Throws RangeError for planes of another size. */
  encode({ r, g, b, count }: Codes10, frame: DpxFrame): Uint8Array {
    if (this.#prepared === null) throw new RangeError('encode before prepare');
    const { form, file } = this.#prepared;
    if (count !== form.width * form.height) throw new RangeError(`planes of ${count} codes for a picture of ${form.width}x${form.height}`);
    const header = dpxHeader(form, frame);
    this.#kernel.pack10(r, g, b, count, file + DPX_HEADER);
    const bytes = this.#memory.bytes(file, dpxBytes(form));
    bytes.set(header);
    return bytes;
  }
}
