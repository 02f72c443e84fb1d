/** One pixel of a raw frame as R'G'B' code values in double precision: the reference of the kernels, from the standards' formulas. */
import { type Layout, type Samples, layoutOf } from './formats.ts';
import { type Triple, apply } from './matrix.ts';
import { type Siting, tapsAcross, tapsDown } from './siting.ts';
import { type Range, type YcbcrMatrix, chromaScale, lumaScale, toRgb, weightsOf } from './ycbcr.ts';

/** What a decoder gives, and what its numbers mean. */
export interface SourcePicture {
  readonly width: number;
  readonly height: number;
  /** ffmpeg's name; layoutOf must know it. */
  readonly pixelFormat: string;
  /** null: RGB or grey. */
  readonly matrix: YcbcrMatrix | null;
  readonly range: Range;
  /** null: chroma is not subsampled. */
  readonly siting: Siting | null;
  /** RGB of whole numbers in which another one than the highest stands for 1.0, and 0 for 0. */
  readonly full?: number;
  /** Frames hold two fields: subsampled lines of chroma belong to their field. */
  readonly interlaced: boolean;
  /** By which cubic chroma is interpolated: C of Mitchell and Netravali, with B = 0. Absent: 0.5, as masters have it. */
  readonly cubic?: number;
}

/** Throws RangeError when the parts of a source do not go together. */
export function sourceLayout(source: SourcePicture): Layout {
  const layout = layoutOf(source.pixelFormat, source.width, source.height);
  if ((layout.kind === 'yuv') !== (source.matrix !== null))
    throw new RangeError(`${source.pixelFormat} with the matrix ${source.matrix}`);
  if ((layout.across > 1 || layout.down > 1) && source.siting === null)
    throw new RangeError(`${source.pixelFormat} without the place of its chroma`);
  return layout;
}

/** Of whole numbers of R', G', B' or Y'. */
export function rgbScale(
  { range, full }: Pick<SourcePicture, 'range' | 'full'>,
  { bits }: Pick<Layout, 'bits'>,
): ReturnType<typeof lumaScale> {
  return full === undefined ? lumaScale(range, bits) : { zero: 0, scale: 1 / full };
}

function sampleAt(
  frame: DataView,
  { first, step, line, width, height, coding, shift }: Samples,
  x: number,
  y: number,
): number {
  const at = first + Math.min(Math.max(y, 0), height - 1) * line + Math.min(Math.max(x, 0), width - 1) * step;
  const finite = (value: number): number =>
    Number.isNaN(value) ? 0 : Math.min(Math.max(value, -MOST), MOST);
  switch (coding) {
    case 'u8':
      return frame.getUint8(at);
    case 'u16le':
      return frame.getUint16(at, true) >> shift;
    case 'u16be':
      return frame.getUint16(at, false) >> shift;
    case 'f32le':
      return finite(frame.getFloat32(at, true));
    case 'f32be':
      return finite(frame.getFloat32(at, false));
  }
}
/** The greatest float32: infinities of a source become it, and what is no number becomes 0. */
const MOST = 3.4028234663852886e38;

/** Of the pixel in column `x`, line `y`, both from 0. Throws RangeError for a frame of another size, and as `sourceLayout` does. */
export function codeRgbAt(source: SourcePicture, bytes: Uint8Array, x: number, y: number): Triple {
  const layout = sourceLayout(source);
  if (bytes.length !== layout.bytes)
    throw new RangeError(`a frame of ${bytes.length} bytes instead of ${layout.bytes}`);
  const frame = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const luma = layout.bits === 32 ? { zero: 0, scale: 1 } : rgbScale(source, layout);
  const value = (samples: Samples): number => (sampleAt(frame, samples, x, y) - luma.zero) * luma.scale;
  if (layout.kind === 'gray') {
    const grey = value(layout.samples[0] as Samples);
    return [grey, grey, grey];
  }
  if (layout.kind === 'rgb') {
    const [r, g, b] = layout.samples.map(value) as [number, number, number];
    return [r, g, b];
  }
  const chroma = chromaScale(source.range, layout.bits);
  const [cb, cr] = layout.samples
    .slice(1)
    .map((samples) => (chromaAt({ frame, source, layout, samples }, x, y) - chroma.zero) * chroma.scale) as [
    number,
    number,
  ];
  return apply(toRgb(weightsOf(source.matrix as YcbcrMatrix)), [value(layout.samples[0] as Samples), cb, cr]);
}

interface ChromaPlane {
  readonly frame: DataView;
  readonly source: SourcePicture;
  readonly layout: Layout;
  readonly samples: Samples;
}

function chromaAt({ frame, source, layout, samples }: ChromaPlane, x: number, y: number): number {
  const { siting, interlaced, cubic } = source;
  const { across, down } = layout;
  const taps = [0, 1, 2, 3] as const;
  const alongLine = (line: number): number => {
    if (across === 1) return sampleAt(frame, samples, x, line);
    const { first, weights } = tapsAcross(siting as Siting, x, cubic);
    return taps.reduce<number>(
      (sum, tap) => sum + weights[tap] * sampleAt(frame, samples, first + tap, line),
      0,
    );
  };
  if (down === 1) return alongLine(y);
  const { lines, weights } = tapsDown(siting as Siting, y, interlaced, cubic);
  return taps.reduce<number>((sum, tap) => sum + weights[tap] * alongLine(lines(tap, samples.height)), 0);
}
