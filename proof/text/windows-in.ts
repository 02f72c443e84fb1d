/** Windows of a picture that lie below each other in raw frames, plane by plane, where they lie: nothing is copied but samples of two bytes that begin at an odd one. */
import { bytesOf, type PixelLayout } from '../encoder-input/samples.ts';
import type { Luma } from './read-line.ts';

export interface WindowPlane {
  readonly values: Uint8Array | Uint16Array;
  /** Of the first sample of the first line, and from line to line. */
  readonly from: number;
  readonly stride: number;
  readonly width: number;
  readonly height: number;
}

export interface Stack {
  readonly layout: PixelLayout;
  /** Of each window as it was filled up. */
  readonly stacked: { readonly width: number; readonly height: number };
  readonly count: number;
}

export const stackBytes = ({ layout, stacked: { width, height }, count }: Stack): number =>
  bytesOf(layout, width, height * count);

/** All samples of a raw frame: of planar pixels, of which alone text is made. */
export function samplesIn(bytes: Buffer, { layout }: Stack): Uint8Array | Uint16Array {
  if (layout.word === 1) return bytes;
  if (layout.bigEndian) bytes.swap16();
  const aligned = bytes.byteOffset % 2 === 0 ? bytes : Buffer.from(bytes);
  return aligned.byteOffset % 2 === 0
    ? new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.length / 2)
    : new Uint16Array(new Uint8Array(aligned).buffer);
}

/** Y', Cb and Cr of window number `index`, of its own size `kept`. */
export function planesIn(
  values: Uint8Array | Uint16Array,
  { layout, stacked, count }: Stack,
  index: number,
  kept: { readonly width: number; readonly height: number },
): WindowPlane[] {
  const planes = layout.planes(stacked.width, stacked.height * count);
  let start = 0;
  return planes.slice(0, 3).map(({ stride, lines }, plane) => {
    const [across, down] = plane === 0 ? [0, 0] : [layout.across, layout.down];
    const samples = stride / layout.word;
    const from = start + index * (stacked.height >> down) * samples;
    start += samples * lines;
    return {
      values,
      from,
      stride: samples,
      width: -(-kept.width >> across),
      height: -(-kept.height >> down),
    };
  });
}

/** In codes of 8 bits. */
export function lumaOf({ values, from, stride, width, height }: WindowPlane, bits: number): Luma {
  const up = 2 ** (bits - 8);
  const out = new Float64Array(width * height);
  for (let y = 0; y < height; y += 1)
    for (let x = 0; x < width; x += 1) out[y * width + x] = (values[from + y * stride + x] as number) / up;
  return { width, height, values: out };
}
