/**
 * DPX headers (SMPTE ST 268): raster, rate, timecode. Offsets as in ffmpeg's reader (libavcodec/dpx.c); the tests read
 * files that ffmpeg wrote, and have ffprobe read headers made by hand.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../../files/bytes.ts';
import { knownRateNear, ratio } from '../../time/rate.ts';
import type { StatedFrame } from '../stated.ts';
import { statedInDpx } from './stated.ts';
import { StillDamage, type StillHeader, storedTimecode } from '../still.ts';

const UNDEFINED = 0xffff_ffff;
/** Components of a pixel by element descriptor; pixels of 4:2:2 hold two on average. */
const COMPONENTS: Readonly<Record<number, number>> = {
  1: 1,
  2: 1,
  3: 1,
  4: 1,
  6: 1,
  50: 3,
  51: 4,
  52: 4,
  100: 2,
  101: 3,
  102: 3,
  103: 4,
};

/** Image orientation (SMPTE ST 268-1, Table 2, as OpenImageIO's libdpx/DPXHeader.h has it: where a line runs, and then where the lines follow each other), by the number of EXIF for the same. */
const AS_EXIF: readonly number[] = [1, 2, 4, 3, 5, 6, 8, 7];

/** Bytes of one line without compression: 10 and 12 bits filled to words unless packed tight. */
const UNDEFINED_16 = 0xffff;

function lineBytes(values: number, bits: number, packing: number): number {
  if (bits === 10 && packing !== 0) return Math.ceil(values / 3) * 4;
  if (bits === 12 && packing !== 0) return values * 2;
  return Math.ceil((values * bits) / 8);
}

export async function readDpx(
  handle: FileHandle,
): Promise<{ readonly header: StillHeader; readonly stated: StatedFrame }> {
  const bytes = await readAt(handle, 0, 2048);
  const magic = bytes.toString('latin1', 0, 4);
  if (magic !== 'SDPX' && magic !== 'XPDS') throw new StillDamage('no DPX magic number');
  if (bytes.length < 1664) throw new StillDamage(`the header ends after ${bytes.length} bytes of 1664`);
  const little = magic === 'XPDS';
  const u32 = (at: number): number => (little ? bytes.readUInt32LE(at) : bytes.readUInt32BE(at));
  const u16 = (at: number): number => (little ? bytes.readUInt16LE(at) : bytes.readUInt16BE(at));
  const f32 = (at: number): number => (little ? bytes.readFloatLE(at) : bytes.readFloatBE(at));
  const dataOffset = u32(4);
  const width = u32(772);
  const height = u32(776);
  if (width === 0 || height === 0 || width > 65_536 || height > 65_536)
    throw new StillDamage(`raster ${width}x${height}`);
  const bits = bytes.readUInt8(803);
  const components = COMPONENTS[bytes.readUInt8(800)];
  const plain = u16(806) === 0 && components !== undefined && u16(770) === 1;
  // Film and television headers are there only when the picture starts behind them.
  const inHeader = (end: number): boolean => dataOffset >= end && bytes.length >= end;
  const storedRate = [1724, 1940]
    .filter((at) => inHeader(at + 4) && u32(at) !== UNDEFINED)
    .map((at) => knownRateNear(f32(at)))
    .find((rate) => rate !== null);
  // The time address is a 32-bit number, so its bytes turn round with the byte order.
  const time = inHeader(1924) ? u32(1920) : UNDEFINED;
  const horizontal = u32(1628);
  const vertical = u32(1632);
  const aspect =
    horizontal !== UNDEFINED && vertical !== UNDEFINED && horizontal > 0 && vertical > 0
      ? ratio(horizontal, vertical)
      : null;
  const orientation = u16(768);
  const seen = AS_EXIF[orientation];
  const header: StillHeader = {
    format: 'dpx',
    kind: 'encoded',
    width,
    height,
    pixelAspect: aspect,
    rate: storedRate ?? null,
    timecode:
      time === UNDEFINED
        ? null
        : storedTimecode(time >>> 24, (time >>> 16) & 0xff, (time >>> 8) & 0xff, time & 0xff),
    reel: null,
    ...(orientation === 0 || orientation === UNDEFINED_16
      ? {}
      : seen === undefined
        ? { lies: `image orientation ${orientation}` }
        : { orientation: seen }),
    neededBytes: plain ? dataOffset + height * lineBytes(width * components, bits, u16(804)) : null,
  };
  return { header, stated: statedInDpx(bytes.subarray(0, Math.min(bytes.length, dataOffset)), little) };
}
