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
  /** Most lines of a part that `take` gives out; null: the memory has room for the whole file. */
  readonly part: number | null;
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

  /**
   * Takes room in the memory for frames of this form, once for all of them: a reset of the memory takes it back. `most`: lines that are taken at once, where
   * `take` gives out what is ready; without it `finish` gives the whole file.
   */
  prepare(form: ExrWriting, most: number | null = null): void {
    const { width, height, compression } = form;
    if (![width, height].every((side) => Number.isSafeInteger(side) && side > 0 && side < 65_536))
      throw new RangeError(`a picture of ${width}x${height}`);
    const lines = linesOfCompression[compression];
    const chunks = chunkCount(form);
    // Otherwise the head says what only the chunks decide: how long they are, or the ACES container's checksums.
    const part = compression === 'none' && form.container === 'exr' ? most : null;
    const held = Math.min(part ?? height, height);
    const bytes =
      MOST_HEADER +
      chunks * OFFSET_BYTES +
      Math.ceil(held / lines) * CHUNK_HEAD_BYTES +
      6 * width * held +
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
    const body = file + MOST_HEADER + chunks * OFFSET_BYTES;
    this.#prepared = { form, chunks, part, body, raw, split, scratch };
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
   * and DWA sixteen lines are enough. Gives what is ready of the file, behind what was given before: a view that stands until the next call.
   */
  take({ r, g, b, count }: Planes): Uint8Array {
    const { form, part, body, raw, split, scratch } = this.#need();
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
    if (part !== null) {
      if (lines > part) throw new RangeError(`${lines} lines at once, with room for ${part}`);
      const chunk = CHUNK_HEAD_BYTES + 6 * width;
      const start = frame.line === 0 ? this.#putHead(frame.header, (line) => body + line * chunk) : body;
      this.#kernel.rawChunks(r, g, b, width, frame.line, lines, body);
      frame.line = last;
      return this.#memory.bytes(start, body + lines * chunk - start);
    }
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
    return this.#memory.bytes(body, 0);
  }

  /** Header and offset table, to the place in front of the chunks; gives where they begin. `chunkAt`: where a chunk lies, as if all of them followed in the memory. */
  #putHead({ bytes }: HeaderLayout, chunkAt: (chunk: number) => number): number {
    const { chunks, body } = this.#need();
    const size = bytes.length + chunks * OFFSET_BYTES;
    const start = body - size;
    const head = this.#memory.bytes(start, size);
    head.set(bytes);
    const table = new DataView(head.buffer, start + bytes.length, chunks * OFFSET_BYTES);
    for (let chunk = 0; chunk < chunks; chunk += 1)
      table.setBigUint64(chunk * OFFSET_BYTES, BigInt(chunkAt(chunk) - start), true);
    return start;
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

  /** What is left of the file, or all of it: a view of the thread's memory that stands until the next frame, or until the memory grows. Throws RangeError where lines are missing. */
  finish(): Uint8Array {
    const { form, part, body } = this.#need();
    const frame = this.#frame;
    if (frame?.line !== form.height)
      throw new RangeError(`${frame?.line ?? 0} lines of a picture of ${form.width}x${form.height}`);
    this.#frame = null;
    if (part !== null) return this.#memory.bytes(body, 0);
    const { header, ends } = frame;
    const end = ends.at(-1) as number;
    if (form.container === 'aces') putChecksums(header, this.#memory.bytes(body, end - body));
    const start = this.#putHead(header, (chunk) => (chunk === 0 ? body : (ends[chunk - 1] as number)));
    return this.#memory.bytes(start, end - start);
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
