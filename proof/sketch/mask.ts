/**
 * The mask of an error sketch: which samples of a picture change their sign. One bit a sample, planes one after the other, row by row: the key stream
 * of AES-128 in counter mode (NIST SP 800-38A, counter from 0) under a key that the seed gives, lowest bit of each byte first. So anybody can
 * make the same one, and nobody knows it before the clip is known.
 */
import { createCipheriv, createHash } from 'node:crypto';
import { planesOf } from '../../media/pixel-format.ts';
import { sampleBits, sketchPlanes, type SketchForm } from './form.ts';

/** Of generator and order; raised when a seed would give another mask. */
export const MASK_VERSION = 1;

/** Of one clip in one profile. */
export function maskSeed(contentDigest: string, profileHash: string): string {
  return createHash('sha256')
    .update(`error sketch ${MASK_VERSION}\n${contentDigest}\n${profileHash}`)
    .digest('hex');
}

type Masked = Pick<SketchForm, 'width' | 'height' | 'pixelFormat'>;

function samplesOf({ width, height, pixelFormat }: Masked): number {
  return planesOf(pixelFormat).reduce(
    (sum, { across, down }) => sum + Math.ceil(width / across) * Math.ceil(height / down),
    0,
  );
}

/** One bit for each sample. */
export function maskBits(seed: string, picture: Masked): Buffer {
  const key = createHash('sha256').update(seed).digest().subarray(0, 16);
  return createCipheriv('aes-128-ctr', key, Buffer.alloc(16)).update(
    Buffer.alloc(Math.ceil(samplesOf(picture) / 8)),
  );
}

/** As a raw picture of the pixel format: 0, or the highest value where the sign changes, since v xor the highest is the highest less v. */
export function maskPicture(seed: string, picture: Masked): Buffer {
  const bits = maskBits(seed, picture);
  const depth = sampleBits(picture.pixelFormat);
  const count = samplesOf(picture);
  const sample = (index: number): number => ((bits[index >> 3] as number) >> (index & 7)) & 1;
  if (depth === 8) {
    const bytes = Buffer.alloc(count);
    for (let index = 0; index < count; index += 1) bytes[index] = -sample(index) & 0xff;
    return bytes;
  }
  const highest = 2 ** depth - 1;
  const words = Buffer.alloc(2 * count);
  for (let index = 0; index < count; index += 1)
    if (sample(index) === 1) words.writeUInt16LE(highest, 2 * index);
  return words;
}

/** Of each region, which part of its samples is masked; a sample in several regions counts for the one that its middle lies in. */
export function maskedShares(seed: string, form: SketchForm): Float64Array {
  const bits = maskBits(seed, form);
  const planes = sketchPlanes(form);
  const shares = new Float64Array(planes.reduce((sum, { columns, rows }) => sum + columns * rows, 0));
  const counts = new Float64Array(shares.length);
  let index = 0;
  for (const [number, { across, down }] of planesOf(form.pixelFormat).entries()) {
    const plane = planes[number];
    if (plane === undefined) throw new RangeError('a plane without regions');
    const width = Math.ceil(form.width / across);
    const height = Math.ceil(form.height / down);
    for (let y = 0; y < height; y += 1) {
      const row = plane.from + Math.floor(((y + 0.5) * plane.rows) / height) * plane.columns;
      for (let x = 0; x < width; x += 1, index += 1) {
        const region = row + Math.floor(((x + 0.5) * plane.columns) / width);
        counts[region] = (counts[region] as number) + 1;
        shares[region] = (shares[region] as number) + (((bits[index >> 3] as number) >> (index & 7)) & 1);
      }
    }
  }
  return shares.map((share, region) => share / (counts[region] as number));
}
