/**
 * Headers of TIFF and DNG stills: raster, kind of values, rate, timecode, and where the picture's bytes end. The parser of
 * directories is that of raw frames (media/formats/tiff/header.ts).
 */
import type { FileHandle } from 'node:fs/promises';
import { readFrameRate, readTimeCode } from './cinema.ts';
import { TiffFile, sourceOfFile } from './header.ts';
import { mainDirectory } from './main-directory.ts';
import { PHOTOMETRIC_CFA, PHOTOMETRIC_LINEAR_RAW, TAG } from './tags.ts';
import { StillDamage, type StillHeader } from '../still.ts';
import type { StatedFrame } from '../stated.ts';
import { statedInTiff } from './stated.ts';

const SAMPLE_FORMAT_FLOAT = 3;

export async function readTiff(
  handle: FileHandle,
  fileBytes: number,
): Promise<{ readonly header: StillHeader; readonly stated: StatedFrame }> {
  const source = sourceOfFile(handle, fileBytes);
  const { file, first } = await TiffFile.open(source);
  const main = await mainDirectory(file, first);
  const width = (await main.number(TAG.ImageWidth)) ?? 0;
  const height = (await main.number(TAG.ImageLength)) ?? 0;
  if (width === 0 || height === 0) throw new StillDamage(`raster ${width}x${height}`);
  const dng = first.has(TAG.DNGVersion);
  const photometric = await main.number(TAG.PhotometricInterpretation);
  const raw = dng || photometric === PHOTOMETRIC_CFA || photometric === PHOTOMETRIC_LINEAR_RAW;
  const offsets = [...(await main.numbers(TAG.StripOffsets)), ...(await main.numbers(TAG.TileOffsets))];
  const sizes = [...(await main.numbers(TAG.StripByteCounts)), ...(await main.numbers(TAG.TileByteCounts))];
  if (offsets.length === 0 || offsets.length !== sizes.length)
    throw new StillDamage(`${offsets.length} pieces of picture with ${sizes.length} sizes`);
  // Section 8: 1 is the first line at the top and the first column on the left. Raw frames are turned while they are developed.
  const orientation = dng ? 1 : ((await main.number(TAG.Orientation)) ?? 1);
  const header: StillHeader = {
    format: dng ? 'dng' : 'tiff',
    kind: raw
      ? 'camera-raw'
      : (await main.numbers(TAG.SampleFormat)).includes(SAMPLE_FORMAT_FLOAT)
        ? 'scene-linear'
        : 'encoded',
    width,
    height,
    ...(orientation === 1
      ? {}
      : orientation >= 2 && orientation <= 8
        ? { orientation }
        : { lies: `Orientation ${orientation}` }),
    pixelAspect: null,
    rate: await readFrameRate([first]),
    timecode: await readTimeCode(first),
    reel: await first.text(TAG.ReelName),
    neededBytes: offsets.reduce((end, offset, index) => Math.max(end, offset + (sizes[index] as number)), 0),
  };
  return { header, stated: await statedInTiff(source) };
}
