/**
 * Pictures in a thread's kernels: raw frames to R'G'B' codes, codes to linear AP0, AP0 to what movies and DPX hold.
 *
 * Error budget, measured in test/colour/picture.test.ts against codeRgbAt and evaluate:
 * - codes: RGB formats within half of the last place of float32; Y'CbCr within 4e-7 of full scale.
 * - transforms: within 1e-7 of the value (half of the last place of float32; nothing is rounded between steps), 1e-9 near 0;
 *   3D tables, whose entries are kept in float32, within 2e-7 of the largest entry around.
 * - 10-bit codes: those of double precision but where that lies within 1e-6 of the middle of two codes.
 */
import { planeBytes, type Planes } from '../kernels/planes.ts';
import { type KernelMemory, kernels } from '../kernels/memory.ts';
import { type CodeBits, type SHOWN_BITS, YCBCR10, acescctOfAp0, rgbCodes } from './acescct.ts';
import type { Layout, Samples } from './formats.ts';
import { rgbScale, type SourcePicture, sourceLayout } from './pixel.ts';
import { type Tables, programOf } from './program.ts';
import { type Siting, type Taps, tapsAcross, tapsDown } from './siting.ts';
import type { ColourTransform } from './steps.ts';
import { type YcbcrMatrix, chromaScale, fromRgb, lumaScale, toRgb, weightsOf } from './ycbcr.ts';
import { diagonal, multiply } from './matrix.ts';

export interface PicturePlan {
  readonly width: number;
  readonly height: number;
  /** Lines that are worked on at once, and that the planes have room for; without it all of them. */
  readonly lines?: number;
  /** What `codeRgb` is given; null: planes come from elsewhere. Its width and height are those of the plan. */
  readonly source: SourcePicture | null;
  /** What `toAp0` does; null: it is not asked for. */
  readonly transform: ColourTransform | null;
  /** Of the codes that `toAcescctCodes` gives; absent: 10. */
  readonly bits?: CodeBits | typeof SHOWN_BITS;
}

/** Codes that there was no room for, and what all of them ranged over before that, in whole codes. */
export interface LimitedCodes {
  readonly below: number;
  readonly above: number;
  readonly least: number;
  readonly greatest: number;
}

/** Values of a channel that are no numbers, and infinities; in the order R, G, B, or grey alone. */
export interface SpecialValues {
  readonly nans: readonly number[];
  readonly infinities: readonly number[];
}

/** Addresses of unsigned 16-bit planes without padding, as the names say. */
export interface YcbcrPlanes {
  readonly y: number;
  readonly cb: number;
  readonly cr: number;
  readonly count: number;
}
export interface CodePlanes {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly count: number;
}

interface Exports {
  run(
    program: number,
    r: number,
    g: number,
    b: number,
    toR: number,
    toG: number,
    toB: number,
    count: number,
    scratch: number,
    least: number,
    most: number,
  ): void;
  clearLimited(): void;
  limitedBelow(): number;
  limitedAbove(): number;
  leastBefore(): number;
  greatestBefore(): number;
  loadLine(
    from: number,
    step: number,
    coding: number,
    shift: number,
    to: number,
    count: number,
    zero: number,
    span: number,
  ): void;
  /** `infinite`: 1 counts infinities, 0 counts what is no number. */
  countSpecial(from: number, step: number, coding: number, count: number, infinite: number): number;
  extendLine(at: number, count: number, before: number, behind: number): void;
  blendLines(
    a: number,
    b: number,
    c: number,
    d: number,
    wa: number,
    wb: number,
    wc: number,
    wd: number,
    to: number,
    count: number,
  ): void;
  doubleLine(
    from: number,
    count: number,
    even: number,
    e0: number,
    e1: number,
    e2: number,
    e3: number,
    odd: number,
    o0: number,
    o1: number,
    o2: number,
    o3: number,
    to: number,
  ): void;
  rgbLine(
    y: number,
    cb: number,
    cr: number,
    crToR: number,
    cbToG: number,
    crToG: number,
    cbToB: number,
    r: number,
    g: number,
    b: number,
    count: number,
  ): void;
}

const CODINGS: Readonly<Record<Samples['coding'], number>> = {
  u8: 0,
  u16le: 1,
  u16be: 2,
  f32le: 3,
  f32be: 4,
};
/** Four blocks of 256 float64 (media/kernels/assembly/video.ts). */
const SCRATCH_BYTES = 4 * 256 * 8;
/** Chroma samples before and behind every line: what filters reach, and a vector's width. */
const MARGIN = 16;
/** Chroma lines that a band reaches above and below its own, together: of a field, every second one (media/colour/siting.ts). */
const REACH = 12;

const upToFour = (count: number): number => Math.ceil(count / 4) * 4;

interface SourceAreas {
  readonly source: SourcePicture;
  readonly layout: Layout;
  readonly frame: number;
  readonly line: number;
  /** Of chroma at full width, each a line. */
  readonly cb: number;
  readonly cr: number;
  /** Chroma as it is coded, float32: the lines that a band reaches, each with its margins; `stride` values a line, and room for `chromaLines`. */
  readonly chroma: readonly [number, number];
  readonly stride: number;
  readonly chromaLines: number;
  /** One blended line of chroma with its margins. */
  readonly blended: number;
}

/** One of the two chroma planes, as a band reaches it. */
interface ChromaPlane {
  readonly samples: Samples;
  /** Address of its first line, which is chroma line `first`. */
  readonly at: number;
  readonly first: number;
  /** null: chroma has full width. */
  readonly across: readonly [Taps, Taps] | null;
  /** Where a line of full width may be put. */
  readonly to: number;
}

/** (code - zero) / span */
interface CodeScale {
  readonly zero: number;
  readonly span: number;
}

interface Areas {
  readonly plan: PicturePlan;
  /** Lines of a band, and pixels of one. */
  readonly lines: number;
  readonly count: number;
  readonly scratch: number;
  readonly planes: Planes;
  readonly source: SourceAreas | null;
  readonly transform: number | null;
  readonly toYcbcr: { readonly program: number; readonly planes: YcbcrPlanes };
  readonly toCodes: { readonly program: number; readonly planes: CodePlanes };
}

/** One picture at a time; every plan is prepared once and used for all frames of a clip. */
export class PictureKernel {
  readonly #memory: KernelMemory;
  readonly #kernels: Exports;
  #areas: Areas | null = null;
  #nans = [0, 0, 0];
  #infinities = [0, 0, 0];

  private constructor(memory: KernelMemory, exports: Exports) {
    this.#memory = memory;
    this.#kernels = exports;
  }

  static async load(memory: KernelMemory): Promise<PictureKernel> {
    return new PictureKernel(memory, await kernels<Exports>('video', memory));
  }

  /**
   * Allocates what the plan needs, tables included. It takes memory again every time: whoever prepares again resets the memory
   * to a mark from before. Throws RangeError when the parts of the source do not go together, or the memory ends.
   */
  prepare(plan: PicturePlan): void {
    const { width, height, source, transform, bits = 10 } = plan;
    if (source !== null && (source.width !== width || source.height !== height))
      throw new RangeError('a source of another size than its plan');
    const lines = Math.min(plan.lines ?? height, height);
    const count = width * lines;
    const memory = this.#memory;
    const place = (values: Float64Array): number => {
      const at = memory.allocate(values.byteLength);
      memory
        .bytes(at, values.byteLength)
        .set(new Uint8Array(values.buffer, values.byteOffset, values.byteLength));
      return at;
    };
    const tables: Tables = {
      f64: place,
      f32: (values) => {
        const at = memory.allocate(values.length * 4);
        memory.f32(at, values.length).set(values);
        return at;
      },
    };
    const plane = (): number => memory.allocate(planeBytes(count));
    const codePlane = (): number => memory.allocate(planeBytes(count) / 2);
    // As media/colour/acescct.ts has them: 10 bits in narrow range with the matrix of BT.709, and full range.
    const toYcbcr = programOf(acescctOfAp0, tables, {
      matrix: multiply(diagonal([876, 896, 896]), fromRgb(weightsOf('bt709'))),
      offset: [64, 512, 512],
    });
    const [, most] = rgbCodes(bits);
    const toCodes = programOf(acescctOfAp0, tables, {
      matrix: diagonal([most, most, most]),
      offset: [0, 0, 0],
    });
    this.#areas = {
      plan,
      lines,
      count,
      scratch: memory.allocate(SCRATCH_BYTES),
      planes: { r: plane(), g: plane(), b: plane(), count },
      source: source === null ? null : this.#sourceAreas(source, lines),
      transform: transform === null ? null : place(programOf(transform, tables)),
      toYcbcr: {
        program: place(toYcbcr),
        planes: { y: codePlane(), cb: codePlane(), cr: codePlane(), count },
      },
      toCodes: { program: place(toCodes), planes: { r: codePlane(), g: codePlane(), b: codePlane(), count } },
    };
  }

  #sourceAreas(source: SourcePicture, lines: number): SourceAreas {
    const layout = sourceLayout(source);
    const { width } = source;
    const line = (values: number): number => this.#memory.allocate((upToFour(values) + 2 * MARGIN) * 4);
    const [, chroma] = layout.samples;
    const stride = upToFour(Math.ceil(width / layout.across)) + 2 * MARGIN;
    const chromaLines =
      chroma === undefined ? 0 : Math.min(chroma.height, Math.ceil(lines / layout.down) + REACH);
    const chromaPlane = (): number =>
      layout.kind === 'yuv' && chroma !== undefined ? this.#memory.allocate(stride * 4 * chromaLines) : 0;
    return {
      source,
      layout,
      frame: this.#memory.allocate(layout.bytes),
      line: line(width),
      cb: line(width),
      cr: line(width),
      chroma: [chromaPlane(), chromaPlane()],
      stride,
      chromaLines,
      blended: this.#memory.allocate(stride * 4),
    };
  }

  #prepared(): Areas {
    if (this.#areas === null) throw new RangeError('a picture kernel without a plan');
    return this.#areas;
  }

  #source(): SourceAreas {
    const { source } = this.#prepared();
    if (source === null) throw new RangeError('a plan without a source');
    return source;
  }

  /** Where a raw frame may be put before `codeRgb`, which then copies nothing. Stale once the memory grows. */
  frame(): Uint8Array {
    const { frame, layout } = this.#source();
    return this.#memory.bytes(frame, layout.bytes);
  }

  /** Puts a raw frame there. Throws RangeError for one of another size. */
  put(input: Uint8Array): void {
    const { bytes } = this.#source().layout;
    if (input.length !== bytes) throw new RangeError(`a frame of ${input.length} bytes instead of ${bytes}`);
    this.frame().set(input);
  }

  /** The planes of the plan, for those who fill them themselves. */
  planes(): Planes {
    return this.#prepared().planes;
  }

  /**
   * A band of a raw frame to R'G'B' codes, 0 to 1 of full scale and beyond, in the planes of the plan: from line `first` on as many lines as the plan works on
   * at once, or as there are. Without `input` the frame lies in `frame()`. Throws RangeError for a frame of another size.
   */
  codeRgb(input?: Uint8Array, first = 0): Planes {
    const { plan, lines, planes } = this.#prepared();
    const areas = this.#source();
    if (input !== undefined) this.put(input);
    const end = Math.min(first + lines, plan.height);
    if (areas.layout.kind === 'yuv') this.#ycbcr(areas, planes, first, end);
    else this.#rgb(areas, planes, first, end);
    return { ...planes, count: plan.width * (end - first) };
  }

  #load(samples: Samples, y: number, to: number, { zero, span }: CodeScale): void {
    this.#kernels.loadLine(
      this.#source().frame + samples.first + y * samples.line,
      samples.step,
      CODINGS[samples.coding],
      samples.shift,
      to,
      samples.width,
      zero,
      span,
    );
  }

  /** What `codeRgb` has met since this was last asked, in a source of floats: 0 and the greatest float32 are in their place in the planes. */
  takeSpecial(): SpecialValues {
    const taken = { nans: this.#nans, infinities: this.#infinities };
    this.#nans = [0, 0, 0];
    this.#infinities = [0, 0, 0];
    return taken;
  }

  #countSpecial({ frame, layout }: SourceAreas, y: number): void {
    for (const [channel, samples] of layout.samples.entries()) {
      const at = frame + samples.first + y * samples.line;
      const count = (infinite: 0 | 1): number =>
        this.#kernels.countSpecial(at, samples.step, CODINGS[samples.coding], samples.width, infinite);
      this.#nans[channel] = (this.#nans[channel] ?? 0) + count(0);
      this.#infinities[channel] = (this.#infinities[channel] ?? 0) + count(1);
    }
  }

  #rgb(areas: SourceAreas, { r, g, b }: Planes, first: number, end: number): void {
    const { source, layout } = areas;
    const scale = codes(layout, rgbScale(source, layout));
    const [one, two = one, three = one] = layout.samples as [Samples, Samples?, Samples?];
    for (let y = first; y < end; y++) {
      if (layout.bits === 32) this.#countSpecial(areas, y);
      const offset = (y - first) * source.width * 4;
      for (const [samples, to] of [
        [one, r],
        [two, g],
        [three, b],
      ] as const)
        this.#load(samples, y, to + offset, scale);
    }
  }

  #ycbcr(areas: SourceAreas, { r, g, b }: Planes, first: number, end: number): void {
    const { source, layout, line, cb, cr, chroma, stride, chromaLines } = areas;
    const { width } = source;
    const [luma, blue, red] = layout.samples as [Samples, Samples, Samples];
    const lumaCodes = codes(layout, lumaScale(source.range, layout.bits));
    const chromaCodes = codes(layout, chromaScale(source.range, layout.bits));
    const reached = chromaReach(areas, blue.height, first, end);
    if (reached.end - reached.first > chromaLines)
      throw new RangeError(
        `${reached.end - reached.first} lines of chroma where there is room for ${chromaLines}`,
      );
    for (const [samples, plane] of [
      [blue, chroma[0]],
      [red, chroma[1]],
    ] as const) {
      for (let y = reached.first; y < reached.end; y++) {
        const at = plane + ((y - reached.first) * stride + MARGIN) * 4;
        this.#load(samples, y, at, chromaCodes);
        this.#kernels.extendLine(at, samples.width, MARGIN, stride - MARGIN - samples.width);
      }
    }
    const matrix = toRgb(weightsOf(source.matrix as YcbcrMatrix));
    const across =
      layout.across === 1
        ? null
        : ([tapsAcross(source.siting as Siting, 0), tapsAcross(source.siting as Siting, 1)] as const);
    const bluePlane = { samples: blue, at: chroma[0], first: reached.first, across, to: cb };
    const redPlane = { samples: red, at: chroma[1], first: reached.first, across, to: cr };
    for (let y = first; y < end; y++) {
      this.#load(luma, y, line, lumaCodes);
      const blueLine = this.#chromaLine(areas, bluePlane, y);
      const redLine = this.#chromaLine(areas, redPlane, y);
      // Lines follow one another, so what is written behind a line is written over by the next.
      const offset = (y - first) * width * 4;
      this.#kernels.rgbLine(
        line,
        blueLine,
        redLine,
        matrix[0][2],
        matrix[1][1],
        matrix[1][2],
        matrix[2][1],
        r + offset,
        g + offset,
        b + offset,
        width,
      );
    }
  }

  /** Address of line `y` of chroma at full width. */
  #chromaLine(
    { source, layout, stride, blended }: SourceAreas,
    { samples, at: plane, first, across, to }: ChromaPlane,
    y: number,
  ): number {
    let from = plane + (y - first) * stride * 4;
    if (layout.down === 2) {
      const { lines, weights } = tapsDown(source.siting as Siting, y, source.interlaced);
      const at = (tap: 0 | 1 | 2 | 3): number => plane + (lines(tap, samples.height) - first) * stride * 4;
      this.#kernels.blendLines(at(0), at(1), at(2), at(3), ...weights, blended, stride);
      from = blended;
    }
    from += MARGIN * 4;
    if (across === null && from === blended + MARGIN * 4) {
      // Of 4:4:0: the other plane is blended in the same place.
      this.#memory.f32(to, source.width).set(this.#memory.f32(from, source.width));
      return to;
    }
    if (across === null) return from;
    const [even, odd] = across;
    this.#kernels.doubleLine(from, samples.width, even.first, ...even.weights, odd.first, ...odd.weights, to);
    return to;
  }

  #run(
    program: number,
    { r, g, b, count }: Planes,
    to: readonly [number, number, number],
    limits: readonly [number, number],
  ): void {
    if (count > this.#prepared().count)
      throw new RangeError(`planes of ${count} pixels with room for ${this.#prepared().count}`);
    this.#kernels.run(program, r, g, b, ...to, count, this.#prepared().scratch, ...limits);
  }

  /** The transform of the plan, in place: the same planes, now linear AP0. No limit but float32's own; never a value that is no number. */
  toAp0(planes: Planes): Planes {
    const { transform } = this.#prepared();
    if (transform === null) throw new RangeError('a plan without a transform');
    this.#run(transform, planes, [planes.r, planes.g, planes.b], [0, 0]);
    return planes;
  }

  /** Linear AP0 to ACEScct as 10-bit Y'CbCr 4:4:4: `yuv10Of` of acescct.ts for every pixel. The planes stay as they are. */
  toAcescctYuv(planes: Planes): YcbcrPlanes {
    const { toYcbcr } = this.#prepared();
    this.#run(toYcbcr.program, planes, [toYcbcr.planes.y, toYcbcr.planes.cb, toYcbcr.planes.cr], YCBCR10);
    return { ...toYcbcr.planes, count: planes.count };
  }

  /** Linear AP0 to ACEScct as R'G'B' of the plan's bits: `codesOf` of acescct.ts for every pixel. The planes stay as they are. */
  toAcescctCodes(planes: Planes): CodePlanes {
    const { plan, toCodes } = this.#prepared();
    const to = [toCodes.planes.r, toCodes.planes.g, toCodes.planes.b] as const;
    this.#run(toCodes.program, planes, to, rgbCodes(plan.bits ?? 10));
    return { ...toCodes.planes, count: planes.count };
  }

  /** Of all codes that were made since this was last asked. */
  takeLimited(): LimitedCodes {
    const kernel = this.#kernels;
    const taken = {
      below: kernel.limitedBelow(),
      above: kernel.limitedAbove(),
      least: kernel.leastBefore(),
      greatest: kernel.greatestBefore(),
    };
    kernel.clearLimited();
    return taken;
  }
}

/** (code - zero) / span; the span of integer codes is a whole number, so that one rounding is all there is. */
function codes(
  { bits }: Layout,
  { zero, scale }: { readonly zero: number; readonly scale: number },
): CodeScale {
  return bits === 32 ? { zero: 0, span: 1 } : { zero, span: Math.round(1 / scale) };
}

/** Lines of chroma that luma lines `first` to `end` (not included) are made of. */
function chromaReach(
  { source, layout }: SourceAreas,
  height: number,
  first: number,
  end: number,
): { readonly first: number; readonly end: number } {
  if (layout.down === 1) return { first, end };
  let [least, most] = [height, 0];
  for (let y = first; y < end; y++) {
    const { lines } = tapsDown(source.siting as Siting, y, source.interlaced);
    for (const tap of [0, 1, 2, 3] as const) {
      least = Math.min(least, lines(tap, height));
      most = Math.max(most, lines(tap, height));
    }
  }
  return { first: least, end: most + 1 };
}
