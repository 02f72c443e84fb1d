/** Black around a picture that is delivered in a larger one: where it lies, and what its samples are. Pure. */
import { createHash } from 'node:crypto';
import { planesOf } from '../media/pixel-format.ts';
import type { Framing, Rectangle } from './framing.ts';
import { sampleBits } from './sketch/form.ts';

/** Parts of the delivered picture that are no part of the source's: above, below, left, right. Empty: there is nothing around it. */
export function barsOf(
  { window, inset }: Pick<Framing, 'window' | 'inset'>,
  { width, height }: { readonly width: number; readonly height: number },
): Rectangle[] {
  if (inset === null) return [];
  const { left, top } = inset;
  const [right, bottom] = [left + window.width, top + window.height];
  return [
    { left: 0, top: 0, width, height: top },
    { left: 0, top: bottom, width, height: height - bottom },
    { left: 0, top, width: left, height: window.height },
    { left: right, top, width: width - right, height: window.height },
  ].filter((bar) => bar.width > 0 && bar.height > 0);
}

/** Of 8 bits, limited range (ITU-R BT.709, 4.6: black at 16, no colour at 128); of n bits 2^(n - 8) times as much. */
export const BLACK = { luma: 16, chroma: 128 } as const;

/** SHA-256 of a raw picture of that size that is black, as ffmpeg lays it out. `pixelFormat`: planar Y'CbCr. */
export function blackDigest(
  pixelFormat: string,
  { width, height }: Pick<Rectangle, 'width' | 'height'>,
): Buffer {
  const bits = sampleBits(pixelFormat);
  const hash = createHash('sha256');
  for (const [plane, { across, down }] of planesOf(pixelFormat).entries()) {
    const count = Math.ceil(width / across) * Math.ceil(height / down);
    const code = (plane === 0 ? BLACK.luma : BLACK.chroma) * 2 ** (bits - 8);
    hash.update(
      bits === 8 ? Buffer.alloc(count, code) : Buffer.alloc(2 * count, Buffer.from([code & 0xff, code >> 8])),
    );
  }
  return hash.digest();
}
