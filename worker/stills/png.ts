/**
 * Writes a still as PNG (W3C, Portable Network Graphics, third edition): true colour, coded as sRGB and said so, with what it shows in international text.
 * Chunks: IHDR, cICP, sRGB and cHRM (BT.709 alone), gAMA, iTXt, IDAT, IEND.
 */
import { promisify } from 'node:util';
import { crc32, deflate } from 'node:zlib';
import { type Primaries, primaries as named } from '../../media/colour/h273.ts';

export interface PngPicture {
  readonly width: number;
  readonly height: number;
  readonly bits: 8 | 16;
  /** R, G, B by pixel, line by line; 16 bits with the high byte first. */
  readonly samples: Buffer;
  readonly primaries: Primaries;
  /** Keyword to text. */
  readonly texts: readonly (readonly [keyword: string, text: string])[];
}

const SIGNATURE = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
/** TransferCharacteristics of sRGB (H.273, Table 3). */
const SRGB_TRANSFER = 13;
/** For readers that know neither cICP nor sRGB (clause 11.3.2.5, Table 17): 1/2.2, and the primaries and white of BT.709, times 100000. */
const GAMMA = 45_455;
const CHROMATICITIES = [31_270, 32_900, 64_000, 33_000, 30_000, 60_000, 15_000, 6_000] as const;
const PAETH = 4;

function chunk(type: string, data: Uint8Array): Buffer {
  const bytes = Buffer.alloc(data.length + 12);
  bytes.writeUInt32BE(data.length, 0);
  bytes.write(type, 4, 'latin1');
  bytes.set(data, 8);
  bytes.writeUInt32BE(crc32(bytes.subarray(4, data.length + 8)), data.length + 8);
  return bytes;
}

function words(...values: readonly number[]): Buffer {
  const bytes = Buffer.alloc(4 * values.length);
  for (const [index, value] of values.entries()) bytes.writeUInt32BE(value, 4 * index);
  return bytes;
}

/** Each byte less the neighbour that left + above - left above comes nearest to (clause 9.4). */
function filtered({ width, height, bits, samples }: PngPicture): Buffer {
  const step = (3 * bits) / 8;
  const line = width * step;
  if (samples.length !== line * height)
    throw new RangeError(`${samples.length} bytes for ${width}x${height} pixels of ${bits} bits`);
  const bytes = Buffer.alloc((line + 1) * height);
  let lineAbove: Buffer = Buffer.alloc(line);
  for (let y = 0; y < height; y += 1) {
    const own = samples.subarray(y * line, (y + 1) * line);
    const into = bytes.subarray(y * (line + 1), (y + 1) * (line + 1));
    into[0] = PAETH;
    for (let x = 0; x < line; x += 1) {
      const left = x < step ? 0 : (own[x - step] as number);
      const above = lineAbove[x] as number;
      const corner = x < step ? 0 : (lineAbove[x - step] as number);
      const toLeft = Math.abs(above - corner);
      const toAbove = Math.abs(left - corner);
      const toCorner = Math.abs(left + above - 2 * corner);
      const nearest = toLeft <= toAbove && toLeft <= toCorner ? left : toAbove <= toCorner ? above : corner;
      into[x + 1] = (own[x] as number) - nearest;
    }
    lineAbove = own;
  }
  return bytes;
}

function text(keyword: string, value: string): Buffer {
  const [none, plain] = [Buffer.from([0]), Buffer.from([0, 0])];
  return chunk(
    'iTXt',
    // Keyword, not compressed, no language, no translated keyword.
    Buffer.concat([Buffer.from(keyword, 'latin1'), none, plain, none, none, Buffer.from(value, 'utf8')]),
  );
}

export async function pngOf(picture: PngPicture): Promise<Buffer> {
  const { width, height, bits, primaries, texts } = picture;
  const header = Buffer.concat([words(width, height), Buffer.from([bits, 2, 0, 0, 0])]);
  const isBt709 = primaries === 'bt709';
  const compressed = await promisify(deflate)(filtered(picture), { level: 9 });
  return Buffer.concat([
    SIGNATURE,
    chunk('IHDR', header),
    chunk('cICP', Buffer.from([named[primaries].code, SRGB_TRANSFER, 0, 1])),
    // Perceptual intent.
    ...(isBt709 ? [chunk('sRGB', Buffer.from([0])), chunk('cHRM', words(...CHROMATICITIES))] : []),
    chunk('gAMA', words(GAMMA)),
    ...texts.map(([keyword, value]) => text(keyword, value)),
    chunk('IDAT', compressed),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}
