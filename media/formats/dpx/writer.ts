/** Writes a frame of DPX (SMPTE ST 268-1): R, G, B of 10, 12 or 16 bits, big-endian, filled to words by method A, in a thread's memory. */
import { type KernelMemory, kernels } from '../../kernels/memory.ts';
import { DPX_HEADER, type DpxForm, type DpxFrame, dpxBytes, dpxHeader, pixelBytes } from './header.ts';

interface DpxKernel {
  pack10(r: number, g: number, b: number, count: number, to: number): void;
  packWords(r: number, g: number, b: number, count: number, shift: number, to: number): void;
}

/** Addresses of u16 planes of `count` codes, of as many bits as the form says. */
export interface DpxCodes {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly count: number;
}

/** Of a word that holds one code. */
const WORD_BITS = 16;

export class DpxEncoder {
  readonly #memory: KernelMemory;
  readonly #kernel: DpxKernel;
  #prepared: { readonly form: DpxForm; readonly file: number } | null = null;
  /** Codes of the frame so far. */
  #taken = 0;

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
    if (![width, height].every((side) => Number.isSafeInteger(side) && side > 0 && side < 65_536))
      throw new RangeError(`a picture of ${width}x${height}`);
    this.#prepared = { form, file: this.#memory.allocate(dpxBytes(form)) };
  }

  #need(): { readonly form: DpxForm; readonly file: number } {
    if (this.#prepared === null) throw new RangeError('a frame before prepare');
    return this.#prepared;
  }

  /** Begins a frame; what was begun before is given up. */
  begin(): void {
    this.#need();
    this.#taken = 0;
  }

  /** The next codes of the frame, line by line from the top. Throws RangeError for more than are left. */
  take({ r, g, b, count }: DpxCodes): void {
    const { form, file } = this.#need();
    if (this.#taken + count > form.width * form.height)
      throw new RangeError(
        `${count} codes behind ${this.#taken} of a picture of ${form.width}x${form.height}`,
      );
    const to = file + DPX_HEADER + this.#taken * pixelBytes(form);
    if (form.bits === 10) this.#kernel.pack10(r, g, b, count, to);
    else this.#kernel.packWords(r, g, b, count, WORD_BITS - form.bits, to);
    this.#taken += count;
  }

  /** The whole file: a view of the thread's memory that stands until the next frame, or until the memory grows. Throws RangeError where codes are missing. */
  finish(frame: DpxFrame): Uint8Array {
    const { form, file } = this.#need();
    if (this.#taken !== form.width * form.height)
      throw new RangeError(`${this.#taken} codes of a picture of ${form.width}x${form.height}`);
    const bytes = this.#memory.bytes(file, dpxBytes(form));
    bytes.set(dpxHeader(form, frame));
    return bytes;
  }
}
