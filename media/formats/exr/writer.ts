/**
 * Writes a frame of OpenEXR: half values R, G, B, scan lines from the top, uncompressed, or in chunks of ZIP (sixteen lines, or one) PIZ or DWAA (thirty-two), or DWAB (256), of which DWA loses something;
 * the ACES container (SMPTE ST 2065-4) uncompressed. Everything happens in the thread's memory; bytes depend on the values and
 * attributes alone.
 */
import type { KernelMemory } from '../../kernels/memory.ts';
import type { Planes } from '../../kernels/planes.ts';
import { acesAttributes, putChecksums } from './aces.ts';
import { type ExrAttributes, frameAttributes } from './frame-attributes.ts';
import {
  CHUNK_HEAD_BYTES,
  type ExrForm,
  OFFSET_BYTES,
  chunkCount,
  formAttributes,
  type HeaderLayout,
  headerLayout,
  isDwa,
  linesOfCompression,
  USUAL_LEVEL,
} from './header.ts';
import { DwaChunks } from './dwa.ts';
import { type ExrKernel, KERNEL_SLACK, PIZ_SLACK, type PizKernel, exrKernel, pizKernel } from './kernel.ts';

export interface ExrWriting extends ExrForm {
  readonly container: 'exr' | 'aces';
}

/** Most bytes of a header written here. */
const MOST_HEADER = 256 * 1024;

interface Prepared {
  readonly form: ExrWriting;
  readonly chunks: number;
  /** Where the first chunk goes; header and offset table stand in front of it. */
  readonly body: number;
  readonly raw: number;
  readonly split: number;
  readonly scratch: number;
}

/** Lines that PIZ and DWA take at once: what a thread works on, a part of a chunk. */
const BAND = 16;

/** A frame that is being written. */
interface Frame {
  readonly header: HeaderLayout;
  /** Lines that were taken. */
  line: number;
  /** Of the chunks so far. */
  readonly ends: number[];
}

/** The header of a frame; in the ACES container its checksums are still zero. Throws RangeError. */
export function exrHeader(form: ExrWriting, attributes: ExrAttributes): HeaderLayout {
  if (form.container === 'aces' && form.compression !== 'none')
    throw new RangeError('the ACES container is not compressed');
  const all = [...formAttributes(form), ...frameAttributes(attributes)];
  return headerLayout(form.container === 'aces' ? acesAttributes(all) : all);
}

export class ExrEncoder {
  readonly #memory: KernelMemory;
  readonly #kernel: ExrKernel;
  readonly #piz: PizKernel;
  readonly #dwa: DwaChunks;
  #prepared: Prepared | null = null;
  #frame: Frame | null = null;

  private constructor(
    memory: KernelMemory,
    { exr, piz, dwa }: { readonly exr: ExrKernel; readonly piz: PizKernel; readonly dwa: DwaChunks },
  ) {
    this.#memory = memory;
    this.#kernel = exr;
    this.#piz = piz;
    this.#dwa = dwa;
  }

  static async create(memory: KernelMemory): Promise<ExrEncoder> {
    const [exr, piz] = [await exrKernel(memory), await pizKernel(memory)];
    return new ExrEncoder(memory, { exr, piz, dwa: await DwaChunks.create(memory, exr, piz) });
  }

  /** Takes room in the memory for frames of this form, once for all of them: a reset of the memory takes it back. */
  prepare(form: ExrWriting): void {
    const { width, height, compression } = form;
    if (![width, height].every((side) => Number.isSafeInteger(side) && side > 0 && side < 65_536))
      throw new RangeError(`a picture of ${width}x${height}`);
    const lines = linesOfCompression[compression];
    const chunks = chunkCount(form);
    const bytes =
      MOST_HEADER +
      chunks * (OFFSET_BYTES + CHUNK_HEAD_BYTES) +
      6 * width * height +
      KERNEL_SLACK +
      PIZ_SLACK;
    const file = this.#memory.allocate(bytes);
    const chunk = compression !== 'none' ? 6 * width * lines + KERNEL_SLACK : 0;
    const [raw, split, scratch] = [
      this.#memory.allocate(chunk),
      this.#memory.allocate(chunk),
      this.#memory.allocate(
        compression === 'piz' || isDwa(compression)
          ? this.#piz.pizScratchBytes()
          : this.#kernel.scratchBytes(),
      ),
    ];
    if (isDwa(compression))
      this.#dwa.prepare({ width, lines: Math.min(lines, height), level: form.level ?? USUAL_LEVEL });
    this.#frame = null;
    this.#prepared = { form, chunks, body: file + MOST_HEADER + chunks * OFFSET_BYTES, raw, split, scratch };
  }

  #need(): Prepared {
    if (this.#prepared === null) throw new RangeError('a frame before prepare');
    return this.#prepared;
  }

  /** Begins a frame; what was begun before is given up. Throws RangeError for attributes that a header cannot hold. */
  begin(attributes: ExrAttributes): void {
    const header = exrHeader(this.#need().form, attributes);
    if (header.bytes.length > MOST_HEADER)
      throw new RangeError(`a header of ${header.bytes.length} bytes, more than ${MOST_HEADER}`);
    this.#kernel.clearCounts();
    this.#frame = { header, line: 0, ends: [] };
  }

  /**
   * The next lines of the frame, from the top. Values are rounded to the nearest half, ties to even, clamped to 65504; see `nanCount` and `clamped` for
   * what was not one. Throws RangeError for what are no whole lines, or more than are left, or, but for the last, no whole chunks; of PIZ
   * and DWA sixteen lines are enough.
   */
  take({ r, g, b, count }: Planes): void {
    const { form, body, raw, split, scratch } = this.#need();
    const { width, height, compression } = form;
    const frame = this.#frame;
    if (frame === null) throw new RangeError('lines before begin');
    const lines = count / width;
    const last = frame.line + lines;
    const isGathered = compression === 'piz' || isDwa(compression);
    const step = isGathered ? BAND : linesOfCompression[compression];
    if (!Number.isSafeInteger(lines) || lines < 1 || last > height || (last < height && lines % step !== 0))
      throw new RangeError(
        `${count} values from line ${frame.line} of a picture of ${width}x${height}, ${step} lines a chunk`,
      );
    const { ends } = frame;
    let at = ends.at(-1) ?? body;
    if (compression === 'none') {
      this.#kernel.rawChunks(r, g, b, width, frame.line, lines, at);
      for (let line = 0; line < lines; line++) ends.push((at += CHUNK_HEAD_BYTES + 6 * width));
    } else if (isGathered) {
      for (let line = 0; line < lines; line += step) {
        const skip = 4 * width * line;
        const planes = { r: r + skip, g: g + skip, b: b + skip };
        this.#gather(planes, frame, frame.line + line, Math.min(step, lines - line));
      }
    } else {
      for (let line = 0; line < lines; line += step) {
        const skip = 4 * width * line;
        ends.push(
          (at += this.#kernel.zipChunk(
            r + skip,
            g + skip,
            b + skip,
            width,
            frame.line + line,
            Math.min(step, lines - line),
            raw,
            split,
            scratch,
            at,
          )),
        );
      }
    }
    frame.line = last;
  }

  /** Lines of a chunk of PIZ or DWA as halves, channel by channel, where the chunk is made once its last line is there. */
  #gather({ r, g, b }: Omit<Planes, 'count'>, { ends }: Frame, y: number, lines: number): void {
    const { form, body, raw, split, scratch } = this.#need();
    const { width, height, compression } = form;
    const whole = linesOfCompression[compression];
    const first = y - (y % whole);
    const count = Math.min(whole, height - first);
    for (const [channel, plane] of (compression === 'piz' ? [b, g, r] : [r, g, b]).entries())
      this.#kernel.halves(plane, width * lines, split + 2 * width * (channel * count + y - first));
    if (y + lines < first + count) return;
    const at = ends.at(-1) ?? body;
    ends.push(
      at +
        (compression === 'piz'
          ? this.#piz.pizChunk(split, width, first, count, raw, scratch, at)
          : this.#dwa.chunk({ planes: split, y: first, count, scratch, to: at })),
    );
  }

  /** The whole file: a view of the thread's memory that stands until the next frame, or until the memory grows. Throws RangeError where lines are missing. */
  finish(): Uint8Array {
    const { form, chunks, body } = this.#need();
    const frame = this.#frame;
    if (frame?.line !== form.height)
      throw new RangeError(`${frame?.line ?? 0} lines of a picture of ${form.width}x${form.height}`);
    const { header, ends } = frame;
    const start = body - chunks * OFFSET_BYTES - header.bytes.length;
    const end = ends.at(-1) as number;
    const file = this.#memory.bytes(start, end - start);
    if (form.container === 'aces') putChecksums(header, file.subarray(body - start));
    file.set(header.bytes, 0);
    const table = new DataView(file.buffer, start + header.bytes.length, chunks * OFFSET_BYTES);
    ends.forEach((_, index) => {
      table.setBigUint64(
        index * OFFSET_BYTES,
        BigInt((index === 0 ? body : (ends[index - 1] as number)) - start),
        true,
      );
    });
    this.#frame = null;
    return file;
  }

  /** Values of the last frame that were no numbers and were written as 0. */
  get nanCount(): number {
    return this.#kernel.countNans();
  }
  /** Values of the last frame beyond 65504, written as that. */
  get clamped(): number {
    return this.#kernel.countClamped();
  }
  /** Of those, the negative ones. */
  get clampedBelow(): number {
    return this.#kernel.countClampedBelow();
  }
}
